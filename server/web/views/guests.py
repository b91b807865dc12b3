"""A coordinator's guests, who read the group's region reports until a day: invited, listed, ended."""

from datetime import datetime, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from farms.access import GroupRole, group_for, one_of
from farms.selectors import guests_of
from farms.services import end_guest, invite_guest
from server.web.doors import signed_in
from server.web.forms.guest import GuestForm
from server.web.forms.refusals import accepted


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def guests(request: HttpRequest, group_id: UUID) -> HttpResponse:
    """For the group's coordinators. A stay is real time: it doesn't follow the demo's clock."""
    group, now = group_for(request.user, group_id, role=GroupRole.COORDINATOR), timezone.now()
    form = GuestForm(request.POST or None)
    if form.is_valid() and accepted(form, lambda: _invite(group, form.cleaned_data, now)):
        messages.success(request, _("%(name)s can sign in by a mailed code now.") % {"name": form.cleaned_data["name"]})
        return redirect("guests", group_id=group_id)
    known = list(guests_of(group))
    here = [guest for guest in known if _stays(guest, now)]
    context = {"group": group, "form": form, "here": here, "past": [guest for guest in known if guest not in here]}
    return render(request, "web/guests.html", context, status=422 if form.errors else 200)


@signed_in
@require_POST
def end_guest_here(request: HttpRequest, group_id: UUID, guest_id: UUID) -> HttpResponse:
    group = group_for(request.user, group_id, role=GroupRole.COORDINATOR)
    guest = end_guest(guest=one_of(guests_of(group), guest_id), now=timezone.now())
    messages.success(request, _("%(name)s reads the region reports no longer.") % {"name": guest.name})
    return redirect("guests", group_id=group_id)


def guests_here(group: Any) -> int:
    """How many guests read the group's region reports now."""
    now = timezone.now()
    return sum(_stays(guest, now) for guest in guests_of(group))


def _stays(guest: Any, now: datetime) -> bool:
    return guest.ended_at is None and guest.ends_at > now


def _invite(group: Any, wanted: dict[str, Any], now: datetime) -> None:
    """The last day counts to its end, on the group's clock."""
    ends_at = datetime.combine(wanted["until"] + timedelta(days=1), time(), ZoneInfo(group.time_zone))
    invite_guest(group=group, email=wanted["email"], name=wanted["name"], ends_at=ends_at, now=now)
