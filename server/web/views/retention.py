"""How long records are kept: a group's own times, and what every farm is told of them."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from farms import clock
from farms.access import GroupRole, Need, group_for
from farms.retention import chosen_in, months_kept
from farms.selectors import group_roles_of
from farms.services import set_retention
from server.web.choices import choices_of
from server.web.doors import Visit, farm_page, signed_in
from server.web.forms.refusals import accepted
from server.web.forms.retention import RetentionForm


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def group_kept(request: HttpRequest, group_id: UUID) -> HttpResponse:
    """Everybody of the group reads it; a coordinator sets it anew."""
    group = group_for(request.user, group_id)  # type: ignore[arg-type]
    if request.method == "POST":
        group_for(request.user, group_id, role=GroupRole.COORDINATOR)  # type: ignore[arg-type]
    form = RetentionForm(request.POST if request.method == "POST" else None, initial=_now(group_id))
    if form.is_valid() and accepted(form, lambda: _set(request, group, form)):
        messages.success(request, _("It holds from now on; what was set before stays on record."))
        return redirect("group_kept", group_id=group_id)
    context = {"group": group, "kept": told_kept(group_id), "form": form, "chosen": chosen_in(group)}
    context["coordinates"] = _coordinates(request, group_id)
    return render(request, "web/group_kept.html", context, status=422 if form.errors else 200)


@farm_page(Need.READ)
@require_safe
def farm_kept(request: HttpRequest, visit: Visit) -> HttpResponse:
    """In plain words, for everybody of the farm."""
    return render(request, "web/farm_kept.html", {"visit": visit, "kept": told_kept(visit.farm.group_id)})


def told_kept(group_id: UUID) -> list[tuple[str, int | None]]:
    """Each kind as it is called, and for how many months it is kept; None: for as long as the farm is here."""
    now = _now(group_id)
    return [(str(label), now[kind]) for kind, label in choices_of("farms.GroupRetention", "kind")]


def _now(group_id: UUID) -> dict[str, int | None]:
    return {kind.value: months for kind, months in months_kept(group_id).items()}


def _set(request: HttpRequest, group: Any, form: RetentionForm) -> None:
    set_retention(group=group, months=form.cleaned_data, by=request.user, now=clock.now())  # type: ignore[arg-type]


def _coordinates(request: HttpRequest, group_id: UUID) -> bool:
    roles = group_roles_of(request.user).filter(group_id=group_id, role=GroupRole.COORDINATOR)  # type: ignore[arg-type]
    return bool(roles.exists())
