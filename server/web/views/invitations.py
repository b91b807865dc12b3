"""Invitations by mail: a farm's, by its owner or adviser; sent, sent again, taken back."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from farms.access import Need, one_of
from farms.errors import Conflict
from farms.invitations import invitations_of
from farms.selectors import members_of
from farms.services import Invitee, invite_to_farm, send_invitation_again, withdraw_invitation
from server.web.doors import Visit, farm_page
from server.web.forms.invitation import InviteForm, farm_roles
from server.web.forms.refusals import accepted
from server.web.invitation_mail import count_mail, post_invitation


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def invitations(request: HttpRequest, visit: Visit) -> HttpResponse:
    """An invitation is real time: it doesn't follow the demo's clock."""
    asked = {"role": "recorder", "language": visit.farm.language or get_language()}
    form = InviteForm(request.POST or None, roles=farm_roles(owner=visit.may["own"]), initial=asked)
    if form.is_valid() and accepted(form, lambda: invite_here(request, visit, Invitee(**form.cleaned_data))):
        messages.success(request, _("The invitation to %(name)s is on its way.") % {"name": form.cleaned_data["name"]})
        return redirect("invitations", farm_id=visit.farm.id)
    context = {"visit": visit, "form": form, "waiting": waiting_shown(invitations_of(visit.farm))}
    context["members"] = members_of(visit.farm)
    return render(request, "web/invitations.html", context, status=422 if form.errors else 200)


@farm_page(Need.MANAGE)
@require_POST
def invite_again(request: HttpRequest, visit: Visit, invitation_id: UUID) -> HttpResponse:
    found = one_of(invitations_of(visit.farm), invitation_id)
    try:
        count_mail(found.email, request.user)
        key = send_invitation_again(invitation=found, by=request.user, now=timezone.now())  # type: ignore[arg-type]
    except Conflict as refusal:
        messages.error(request, str(refusal))
    else:
        post_invitation(request, found, key, visit.farm.name)
        messages.success(request, _("The invitation to %(name)s is on its way.") % {"name": found.name})
    return redirect("invitations", farm_id=visit.farm.id)


@farm_page(Need.MANAGE)
@require_POST
def withdraw_invitation_here(request: HttpRequest, visit: Visit, invitation_id: UUID) -> HttpResponse:
    found = one_of(invitations_of(visit.farm), invitation_id)
    withdraw_invitation(invitation=found, by=request.user, now=timezone.now())  # type: ignore[arg-type]
    messages.success(request, _("The invitation to %(name)s is taken back.") % {"name": found.name})
    return redirect("invitations", farm_id=visit.farm.id)


@transaction.atomic
def invite_here(request: HttpRequest, visit: Visit, invited: Invitee) -> None:
    """Invite somebody to the farm and mail it. Raises what the service and the limits of mails do."""
    made, key = invite_to_farm(farm=visit.farm, invited=invited, by=request.user, now=timezone.now())  # type: ignore[arg-type]
    count_mail(made.email, request.user)
    post_invitation(request, made, key, visit.farm.name)


def waiting_shown(invitations: Any) -> list[tuple[Any, bool]]:
    """Each invitation that waits, and whether its address has ended."""
    now = timezone.now()
    return [(each, each.has_ended(now)) for each in invitations]
