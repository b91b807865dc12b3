"""A group's advisers, for its coordinators: who leaves, who is next, what is still promised. No farm is named."""

from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from alerts.services import let_adviser_leave
from farms import clock
from farms.access import GroupRole, group_for, one_of
from farms.offers import adviser_roles_of, advisers_here, offers_of_group, open_promises_of_group
from farms.selectors import advisers_of_group, regions_of
from farms.services import Successor, days_to_begin, name_successor, pass_promises
from server.web.doors import signed_in
from server.web.forms.adviser import PassForm, SuccessorForm
from server.web.forms.refusals import accepted

if TYPE_CHECKING:
    from farms.models import GroupMember


@signed_in
@require_safe
def advisers(request: HttpRequest, group_id: UUID) -> HttpResponse:
    group = group_for(request.user, group_id, role=GroupRole.COORDINATOR)
    offers, promises = offers_of_group(group), open_promises_of_group(group)
    ended = adviser_roles_of(group).filter(ended_at__isnull=False).order_by("-ended_at", "-id")
    newest = {role.user_id: role for role in reversed(ended)}
    here = list(advisers_here(group))
    left = [
        {
            "role": role,
            "offers": [each for each in offers if each.left == role.user],
            "promises": [each for each in promises if each.left == role.user],
        }
        for role in newest.values()
    ]
    return render(request, "web/advisers.html", {"group": group, "here": here, "left": left})


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def adviser(request: HttpRequest, group_id: UUID, group_adviser_id: UUID) -> HttpResponse:
    """One adviser: lets them leave, or, of one who left, names who takes over."""
    role = _role(request, group_id, group_adviser_id)
    now, given = clock.now(), request.POST if request.method == "POST" else None
    others = [user for user in advisers_of_group(group_id) if user.id != role.user_id]
    regions, stays = list(regions_of(role.group)), role.ended_at is None
    form = SuccessorForm(
        given, advisers=others, regions=regions, days=days_to_begin(role, now), may_be_nobody=stays
    )  # fmt: skip
    if form.is_valid():
        successor = _successor(form.cleaned_data, others, regions)
        if accepted(form, lambda: _end_or_name(request, role, successor, now)):
            return redirect("advisers", group_id=group_id)
    context = {"group": role.group, "role": role, "form": form, "passing": PassForm(advisers=others)}
    context["promises"] = [each for each in open_promises_of_group(role.group) if each.left == role.user]
    return render(request, "web/adviser.html", context, status=422 if form.errors else 200)


@signed_in
@require_POST
def pass_promises_on(request: HttpRequest, group_id: UUID, group_adviser_id: UUID) -> HttpResponse:
    role = _role(request, group_id, group_adviser_id)
    to = advisers_of_group(group_id).filter(id=_uuid(request.POST.get("adviser_id"))).first()
    done = pass_promises(role=role, to=to, now=clock.now()) if to else 0
    if done:
        told = ngettext("%(n)d promise is %(name)s's now.", "%(n)d promises are %(name)s's now.", done)
        messages.success(request, told % {"n": done, "name": to})
    else:
        messages.error(request, _("Nothing was passed on: no farm with an open promise has agreed to this adviser."))
    return redirect("adviser", group_id=group_id, group_adviser_id=group_adviser_id)


def _role(request: HttpRequest, group_id: UUID, role_id: UUID) -> "GroupMember":
    group = group_for(request.user, group_id, role=GroupRole.COORDINATOR)
    return one_of(adviser_roles_of(group), role_id)


def _successor(typed: dict[str, Any], advisers: list[Any], regions: list[Any]) -> Successor | None:
    """Whom the form names; it holds only ids of these."""
    if not typed["successor_id"]:
        return None
    user = next(each for each in advisers if str(each.id) == typed["successor_id"])
    region = next((each for each in regions if str(each.id) == typed["region_id"]), None)
    return Successor(user, typed["begins_on"], region)


def _end_or_name(request: HttpRequest, role: "GroupMember", successor: Successor | None, now: Any) -> None:
    if role.ended_at is None:
        let_adviser_leave(role=role, successor=successor, by=request.user, now=now)  # type: ignore[arg-type]
        messages.success(request, _("%(name)s has left the group and sees none of its farms.") % {"name": role.user})
    elif successor is not None:
        farms = name_successor(role=role, successor=successor, now=now)
        told = ngettext("%(n)d farm is asked.", "%(n)d farms are asked.", farms)
        messages.success(request, told % {"n": farms})


def _uuid(text: str | None) -> UUID | None:
    try:
        return UUID(text or "")
    except ValueError:
        return None
