"""Visits and calls that advisers plan for a farm, and the group's rules for visits."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from farms import clock
from farms.access import GroupRole, Need, group_for, one_of
from farms.closures import closure_of
from farms.errors import Forbidden
from farms.offers import promises_of
from farms.selectors import group_roles_of
from farms.services import Plan, erase_last_farm, plan_visit, set_visit_rules, take_back_visit
from farms.visits import visit_rules_of, visits_ahead, visits_of, written_rules_of
from server.web.doors import Visit, farm_page, signed_in
from server.web.forms.refusals import accepted
from server.web.forms.visit import VisitForm, VisitRulesForm


@farm_page(Need.READ)
@require_http_methods(["GET", "HEAD", "POST"])
def visits(request: HttpRequest, visit: Visit) -> HttpResponse:
    """The farm's people and its advisers see what is planned; an adviser plans."""
    given = request.POST if request.method == "POST" else None
    form = VisitForm(given, today=visit.today, initial={"day": visit.today})
    if given is not None and visit.role.name != "adviser":
        raise Forbidden()
    if form.is_valid() and accepted(form, lambda: _plan(request, visit, form)):
        messages.success(request, _("It is planned."))
        return redirect("visits", farm_id=visit.farm.id)
    context = {
        "visit": visit,
        "form": form if visit.role.name == "adviser" else None,
        "planned": visits_ahead(visit.farm, visit.today, request.user),
        "promises": promises_of(visit.farm),
        "closure": closure_of(visit.farm, visit.today),
        "rules": visit_rules_of(visit.farm.group),
    }
    return render(request, "web/visits.html", context, status=422 if form.errors else 200)


@farm_page(Need.MANAGE)
@require_POST
def take_back(request: HttpRequest, visit: Visit, planned_visit_id: UUID) -> HttpResponse:
    take_back_visit(visit=one_of(visits_of(visit.farm), planned_visit_id), by=request.user, now=visit.now)
    messages.success(request, _("It is planned no longer."))
    return redirect("visits", farm_id=visit.farm.id)


@farm_page(Need.MANAGE)
@require_POST
def erase_last(request: HttpRequest, visit: Visit, planned_visit_id: UUID) -> HttpResponse:
    erase_last_farm(visit=one_of(visits_of(visit.farm), planned_visit_id), by=request.user)
    messages.success(request, _("Where you were before is erased."))
    return redirect("visits", farm_id=visit.farm.id)


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def visit_rules(request: HttpRequest, group_id: UUID) -> HttpResponse:
    """Everybody of the group reads them; a coordinator writes them anew."""
    group = group_for(request.user, group_id)
    if request.method == "POST":
        group_for(request.user, group_id, role=GroupRole.COORDINATOR)
    form = VisitRulesForm(request.POST if request.method == "POST" else None, initial=_initial(group))
    if form.is_valid() and accepted(
        form, lambda: set_visit_rules(group=group, **form.cleaned_data, by=request.user, now=clock.now())
    ):
        messages.success(request, _("The group's rules for visits are kept; the older ones stay on record."))
        return redirect("visit_rules", group_id=group_id)
    context = {
        "group": group,
        "rules": visit_rules_of(group),
        "older": written_rules_of(group)[1:],
        "form": form if _coordinates(request, group_id) else None,
    }
    return render(request, "web/visit_rules.html", context, status=422 if form.errors else 200)


def _plan(request: HttpRequest, visit: Visit, form: VisitForm) -> None:
    plan_visit(farm=visit.farm, plan=Plan(**form.cleaned_data), by=request.user, now=visit.now)


def _coordinates(request: HttpRequest, group_id: UUID) -> bool:
    roles = group_roles_of(request.user).filter(group_id=group_id, role=GroupRole.COORDINATOR)
    return bool(roles.exists())


def _initial(group: Any) -> dict[str, str]:
    return {"text": "\n".join(str(line) for line in visit_rules_of(group).lines)}
