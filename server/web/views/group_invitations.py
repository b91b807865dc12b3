"""A coordinator's invitations by mail: to the group, and to the first owner of a farm, which is there by their yes."""

from datetime import datetime, time, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from farms.access import GroupRole, group_for, one_of
from farms.errors import Conflict
from farms.invitations import invitations_of_group
from farms.selectors import regions_of
from farms.services import (
    GroupInvited,
    InvitedFarm,
    invite_to_group,
    send_group_invitation_again,
    withdraw_group_invitation,
)
from server.web.doors import signed_in
from server.web.forms.invitation import GROUP_ROLES, GroupInviteForm, NewFarmForm
from server.web.forms.refusals import accepted
from server.web.invitation_mail import count_mail, post_invitation
from server.web.views.invitations import waiting_shown


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def group_invitations(request: HttpRequest, group_id: UUID) -> HttpResponse:
    group = group_for(request.user, group_id, role=GroupRole.COORDINATOR)
    form = GroupInviteForm(
        request.POST or None, roles=GROUP_ROLES, initial={"role": "adviser", "language": group.language}
    )  # fmt: skip
    if form.is_valid() and accepted(form, lambda: _invite(request, group, _invited(group, form.cleaned_data))):
        messages.success(request, _("The invitation to %(name)s is on its way.") % {"name": form.cleaned_data["name"]})
        return redirect("group_invitations", group_id=group_id)
    context = {"group": group, "form": form, "waiting": waiting_shown(invitations_of_group(group))}
    return render(request, "web/group_invitations.html", context, status=422 if form.errors else 200)


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def new_farm(request: HttpRequest, group_id: UUID) -> HttpResponse:
    """Register a farm: its first owner is invited, and the farm is there as soon as they accept."""
    group = group_for(request.user, group_id, role=GroupRole.COORDINATOR)
    regions = list(regions_of(group))
    form = NewFarmForm(
        request.POST or None, regions=regions, initial={"time_zone": group.time_zone, "language": group.language}
    )  # fmt: skip
    if form.is_valid() and accepted(form, lambda: _invite(request, group, _owner(form.cleaned_data, regions))):
        told = _("%(name)s is invited. The farm is there as soon as they accept.")
        messages.success(request, told % {"name": form.cleaned_data["name"]})
        return redirect("group_invitations", group_id=group_id)
    context = {"group": group, "form": form, "regions": regions}
    return render(request, "web/new_farm.html", context, status=422 if form.errors else 200)


@signed_in
@require_POST
def group_invite_again(request: HttpRequest, group_id: UUID, group_invitation_id: UUID) -> HttpResponse:
    group = group_for(request.user, group_id, role=GroupRole.COORDINATOR)
    found = one_of(invitations_of_group(group), group_invitation_id)
    try:
        count_mail(found.email, request.user)
        key = send_group_invitation_again(invitation=found, by=request.user, now=timezone.now())  # type: ignore[arg-type]
    except Conflict as refusal:
        messages.error(request, str(refusal))
    else:
        post_invitation(request, found, key, found.farm_name or group.name)
        messages.success(request, _("The invitation to %(name)s is on its way.") % {"name": found.name})
    return redirect("group_invitations", group_id=group_id)


@signed_in
@require_POST
def withdraw_group_invitation_here(request: HttpRequest, group_id: UUID, group_invitation_id: UUID) -> HttpResponse:
    group = group_for(request.user, group_id, role=GroupRole.COORDINATOR)
    found = one_of(invitations_of_group(group), group_invitation_id)
    withdraw_group_invitation(invitation=found, now=timezone.now())
    messages.success(request, _("The invitation to %(name)s is taken back.") % {"name": found.name})
    return redirect("group_invitations", group_id=group_id)


@transaction.atomic
def _invite(request: HttpRequest, group: Any, invited: GroupInvited) -> None:
    made, key = invite_to_group(group=group, invited=invited, by=request.user, now=timezone.now())  # type: ignore[arg-type]
    count_mail(made.email, request.user)
    post_invitation(request, made, key, made.farm_name or group.name)


def _invited(group: Any, typed: dict[str, Any]) -> GroupInvited:
    """A guest's last day counts to its end, on the group's clock."""
    until = None
    if typed["role"] == "guest":
        until = datetime.combine(typed["until"] + timedelta(days=1), time(), ZoneInfo(group.time_zone))
    who = {name: typed[name] for name in ("email", "name", "role", "language")}
    return GroupInvited(**who, stays_until=until)


def _owner(typed: dict[str, Any], regions: list[Any]) -> GroupInvited:
    region = next(each for each in regions if str(each.id) == typed["region"])
    farm = InvitedFarm(typed["farm"], region, typed["holding"], typed["time_zone"])
    return GroupInvited(typed["email"], typed["name"], "owner", typed["language"], farm=farm)
