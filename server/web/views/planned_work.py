"""Planned work: what is planned, a new plan, and one plan with its days, of which one may be left out or all ended."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from farms.access import Need, one_of
from farms.selectors import facilities_of
from monitoring.errors import AskedFirst
from monitoring.rules.stewardship import StewardshipWarning
from monitoring.rules.stewardship_words import sentence_of
from monitoring.selectors import Plan, planned_steps_of, planned_works_of, plans_of_rows, products_of, words_about
from monitoring.selectors.planned_work import DONE
from monitoring.services import WorkPlanned, end_plan, leave_out, plan_work
from server.web.doors import Visit, farm_page
from server.web.due_work import due_told
from server.web.forms.refusals import accepted
from server.web.forms.work import PlanForm, StepForm
from server.web.planned_in_words import day_words, plan_words
from server.web.words import short_day

DEEDS = {"leave_out": leave_out, "end": end_plan}


@farm_page(Need.RECORD)
@require_http_methods(["GET", "HEAD", "POST"])
def plans(request: HttpRequest, visit: Visit) -> HttpResponse:
    """All plans, those under way first, and the form for another."""
    initial = {"first_day": visit.today}
    form = PlanForm(
        request.POST or None, facilities=list(facilities_of(visit.farm)),
        products=list(products_of(visit.farm.group)), initial=initial,
    )  # fmt: skip
    asked: list[str] = []
    if form.is_valid() and accepted(form, lambda: _plan(visit, form, asked)):
        messages.success(request, _("It is planned. It shows here, on the farm's page, in its mail and calendar."))
        return redirect("planned_works", farm_id=visit.farm.id)
    found = [(plan, plan_words(plan)) for plan in plans_of_rows(planned_works_of(visit.farm))]
    context = {
        "visit": visit,
        "form": form,
        "asked": asked,
        "due": due_told(visit),
        "back": "work",
        "under_way": [each for each in found if not each[0].is_over(visit.today)],
        "over": [each for each in found if each[0].is_over(visit.today)],
    }
    return render(request, "web/planned_works.html", context, status=422 if form.errors else 200)


@farm_page(Need.RECORD)
@require_http_methods(["GET", "HEAD", "POST"])
def plan(request: HttpRequest, visit: Visit, planned_work_id: UUID) -> HttpResponse:
    """One plan: its days with what became of each; one left out, or all from a day on ended."""
    row = one_of(planned_works_of(visit.farm), planned_work_id)
    (found,) = plans_of_rows([row])
    act = request.POST.get("act", "")
    forms = _forms(request, found, act, visit)
    sent = forms.get(act)
    if sent is not None and sent.is_valid() and accepted(sent, lambda: _step(visit, row, act, sent)):
        messages.success(request, _("Noted. It stays on record with its reason."))
        return redirect("planned_work", farm_id=visit.farm.id, planned_work_id=row.id)
    steps = list(planned_steps_of(visit.farm).filter(planned_id=row.id))
    why = words_about(visit.farm, [step.id for step in steps]) if steps else {}
    context = {
        "visit": visit,
        "plan": found,
        "told": plan_words(found),
        "days": [(each, day_words(each, visit.farm.time_zone)) for each in found.told(visit.today)],
        "steps": [(step, why.get(step.id, "")) for step in steps],
        "forms": forms,
    }
    wrong = any(form.errors for form in forms.values())
    return render(request, "web/planned_work.html", context, status=422 if wrong else 200)


def _plan(visit: Visit, form: PlanForm, asked: list[str]) -> None:
    """What is asked first is put to `asked`, beside the refusal."""
    wanted = form.cleaned_data
    planned = WorkPlanned(
        wanted["kind"], wanted["first_day"], form.place, every=wanted["every"],
        # A unit is always chosen: it means something only beside a number or a last day.
        unit=wanted["unit"] if wanted["every"] or wanted["last_day"] else "", last_day=wanted["last_day"],
        words=wanted["words"], species=wanted["species"], number=wanted["number"],
        use_kind=wanted["use_kind"], product=form.product, thought_of=wanted["thought_of"],
    )  # fmt: skip
    try:
        plan_work(farm=visit.farm, plan=planned, actor=visit.actor, now=visit.now)
    except AskedFirst as first:
        asked += [str(sentence_of(StewardshipWarning(code))) for code in first.details["warnings"]]
        raise


def _forms(request: HttpRequest, found: Plan, act: str, visit: Visit) -> dict[str, StepForm]:
    """What may be done now: the days that can be left out, and those from which on it can be ended."""
    open_days = [each.day for each in found.told(visit.today) if each.state not in (DONE, "left_out", "ended")]
    if not open_days or found.ended_from is not None:
        return {}
    choices = [(day.isoformat(), short_day(day)) for day in open_days]
    due = found.due(visit.today)
    initial = {"day": (due.day if due else next((day for day in open_days if day >= visit.today), open_days[-1]))}
    return {
        name: StepForm(request.POST if act == name else None, days=choices, initial=initial, auto_id=f"{name}_%s")
        for name in DEEDS
    }


def _step(visit: Visit, row: Any, act: str, form: StepForm) -> None:
    DEEDS[act](
        planned=row, day=form.day_chosen, why=form.cleaned_data["why"], actor=visit.actor, now=visit.now
    )  # fmt: skip
