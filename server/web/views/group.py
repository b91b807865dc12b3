"""The coordinator's page: the group's regions, its action levels, what results borrow. No farm's counts are on it."""

from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from alerts.levels import default_level
from alerts.selectors import levels_of_group
from alerts.selectors.running import late_week
from alerts.services import NewLevel, set_group_level, take_group_level_back
from farms import clock
from farms.access import GroupRole, group_for
from farms.clock import local_date, monday_of
from farms.selectors import group_roles_of, regions_of
from monitoring.methods import METHODS
from server.web.borrowed import borrowed_table
from server.web.doors import signed_in
from server.web.forms.farm import LevelForm
from server.web.forms.refusals import accepted
from server.web.views.guests import guests_here


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def group(request: HttpRequest, group_id: UUID) -> HttpResponse:
    """Everybody of the group may read it, what results borrow its office; the coordinator sets levels."""
    found = group_for(request.user, group_id)
    now = clock.now()
    today = local_date(now, found.time_zone)
    roles = {role.role for role in group_roles_of(request.user) if role.group_id == group_id}
    form = LevelForm(request.POST or None, initial={"valid_from": today})
    if request.method == "POST":
        group_for(request.user, group_id, role=GroupRole.COORDINATOR)
        if form.is_valid() and accepted(form, lambda: _set(found, form.cleaned_data, by=request.user, now=now)):
            messages.success(request, _("The group's new action level is kept, with its reason."))
            return redirect("group", group_id=group_id)
    context = {
        "group": found,
        "late": late_week(group_id, now),
        "coordinates": GroupRole.COORDINATOR in roles,
        "guests": guests_here(found),
        "form": form,
        "regions": regions_of(found),
        "levels": levels_shown(group_id, today),
        "borrowed": borrowed_table(group_id, monday_of(today) - timedelta(weeks=1)) if roles else None,
    }
    return render(request, "web/group.html", context, status=422 if form.errors else 200)


def _set(group: Any, typed: dict[str, Any], **who: Any) -> None:
    """Set the group's level, or take it back where no number was typed."""
    if typed["value"] is not None:
        set_group_level(group=group, level=NewLevel(**typed), **who)
        return
    take_group_level_back(group=group, **{name: typed[name] for name in ("method", "reason", "valid_from")}, **who)


def levels_shown(group_id: UUID, today: date) -> list[tuple[object, object]]:
    """Each method with the level that applies in the group today, its own or the trade's."""
    own = levels_of_group(group_id, today)
    return [(method, own.get(code) or default_level(code)) for code, method in METHODS.items()]
