"""Fly sprays, pour-ons and baits of a farm: the list, one record, a new one, and one that was typed wrongly."""

from dataclasses import replace
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from farms.access import Need, one_of
from monitoring.errors import ApplicationRefused
from monitoring.selectors import (
    Stewardship,
    applications_of,
    check_of,
    is_organic,
    people_of,
    product_rows_of,
    products_of,
    replaced_applications,
    waiting_applications_of,
)
from monitoring.services import MendedApplication, Writer, check_application, record_application
from server.web.applications import (
    application_lines,
    applied_in,
    as_typed,
    form_knows,
    named_for_form,
    usual_times,
    withheld_told,
)
from server.web.doors import Visit, farm_page
from server.web.due_work import planned_asked, stands_for
from server.web.forms.application import ApplicationForm, CheckForm, MendApplicationForm
from server.web.forms.refusals import accepted
from server.web.works import since_application

A_PAGE = 30
PEOPLE = ("applicator", "certificate", "done_for")


@farm_page(Need.READ)
@require_safe
def applications(request: HttpRequest, visit: Visit) -> HttpResponse:
    page = Paginator(applications_of(visit.farm), A_PAGE).get_page(request.GET.get("page"))
    past = Stewardship(visit.farm)
    # Owners alone are asked.
    waiting = list(waiting_applications_of(visit.farm)) if visit.may["own"] else []
    context = {
        "visit": visit,
        "page": page,
        "lines": application_lines(visit, list(page), past),
        "waiting": application_lines(visit, waiting, past),
        "withheld": withheld_told(visit),
        "products": products_of(visit.farm.group),
        "organic": is_organic(visit.farm, visit.today),
    }
    return render(request, "web/applications.html", context)


@farm_page(Need.RECORD)
@require_http_methods(["GET", "HEAD", "POST"])
def new_application(request: HttpRequest, visit: Visit, product_id: UUID | None = None) -> HttpResponse:
    """With a product of the group's list its label isn't typed again."""
    product = one_of(product_rows_of(visit.farm.group), product_id) if product_id else None
    usual = usual_times(visit.now, visit.farm.time_zone) | _people_before(visit) | _planned(request, visit)
    form = ApplicationForm(request.POST or None, initial=usual, product=product, **form_knows(visit.farm))
    if form.is_valid() and accepted(form, lambda: _record(visit, form)):
        messages.success(request, _("It is on record. Tell those who work there until when the label keeps them out."))
        return redirect("applications", farm_id=visit.farm.id)
    context = {"visit": visit, "form": form, "product": product, "organic": is_organic(visit.farm, visit.today)}
    return render(request, "web/application_new.html", context, status=422 if form.errors else 200)


@farm_page(Need.READ)
@require_safe
def application(request: HttpRequest, visit: Visit, application_id: UUID) -> HttpResponse:
    return _shown(request, visit, application_id, CheckForm())


def _shown(request: HttpRequest, visit: Visit, application_id: UUID, form: CheckForm) -> HttpResponse:
    row = one_of(applications_of(visit.farm), application_id)
    context = {
        "visit": visit,
        "line": application_lines(visit, [row])[0],
        "check": check_of(row),
        "since": None if row.replaced or row.confirmed is False else since_application(visit.farm, row, visit.today),
        "before": application_lines(visit, replaced_applications(row)),
        "form": form,
    }
    return render(request, "web/application.html", context, status=422 if form.errors else 200)


@farm_page(Need.RECORD)
@require_http_methods(["GET", "HEAD", "POST"])
def mend_application(request: HttpRequest, visit: Visit, application_id: UUID) -> HttpResponse:
    """Type it anew, with the reason: the first stays."""
    found = one_of(applications_of(visit.farm), application_id)
    initial = as_typed(found, people_of([found]).get(found.id), visit.farm.time_zone)
    form = MendApplicationForm(request.POST or None, initial=initial, **form_knows(visit.farm))
    if form.is_valid() and accepted(form, lambda: _record(visit, form, found)):
        messages.success(request, _("It is changed. What was typed first stays on record, and both are shown."))
        return redirect("applications", farm_id=visit.farm.id)
    context = {"visit": visit, "form": form, "line": application_lines(visit, [found])[0]}
    return render(request, "web/application_mend.html", context, status=422 if form.errors else 200)


@farm_page(Need.OWN)
@require_POST
def confirm_application(request: HttpRequest, visit: Visit, application_id: UUID) -> HttpResponse:
    """So it was, or not so and why: what an owner says to a hired sprayer's record."""
    row, form = one_of(applications_of(visit.farm), application_id), CheckForm(request.POST)
    so = request.POST.get("so") == "yes"
    if not form.is_valid() or not accepted(
        form,
        lambda: check_application(
            application=row, confirmed=so, reason=form.cleaned_data["reason"], actor=visit.actor, now=visit.now
        ),
    ):
        return _shown(request, visit, application_id, form)
    messages.success(request, _("The record is confirmed.") if so else _("It is kept as not so, with your words."))
    return redirect("application", farm_id=visit.farm.id, application_id=application_id)


def _planned(request: HttpRequest, visit: Visit) -> dict[str, Any]:
    """The place and the day of a plan, where the page is asked for one."""
    asked = planned_asked(request, visit)
    if asked is None:
        return {}
    planned, day = asked
    return {"facility_id": str(planned.facility_id or ""), "planned": planned.id, "planned_for": day}


def _record(visit: Visit, form: ApplicationForm, replaced: Any = None) -> None:
    applied = replace(applied_in(form), stands_for=stands_for(visit, form.cleaned_data))
    mending = MendedApplication(replaced, form.cleaned_data["why"]) if replaced is not None else None
    try:
        record_application(farm=visit.farm, applied=applied, by=Writer(visit.actor), now=visit.now, mending=mending)
    except ApplicationRefused as refusal:
        raise ApplicationRefused(errors=named_for_form(refusal)) from refusal


def _people_before(visit: Visit) -> dict[str, Any]:
    """Whoever applied last, as a beginning."""
    last = list(applications_of(visit.farm).filter(through_link=False)[:1])
    people = people_of(last).get(last[0].id) if last else None
    return {name: getattr(people, name) for name in PEOPLE} if people else {}
