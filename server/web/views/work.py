"""Work done against flies, with its day: noted in a form or by one tap, and taken back where that was a mistake.

Sprays, pour-ons and baits need their full record and are not noted here.
"""

from datetime import timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from alerts.wording.numbers import day_phrase
from farms.access import Need, one_of
from farms.errors import Conflict, Invalid
from farms.selectors import facilities_of
from monitoring.errors import AlreadyNoted, PlannedDayDone
from monitoring.selectors import planned_works_of, words_about, works_of, works_on_record
from monitoring.selectors.work import taken_back_rows
from monitoring.services import WorkDone, as_planned, record_again, record_work, take_back_work
from server.web.doors import Visit, farm_page
from server.web.due_work import due_told, planned_asked, stands_for, usual_of, who_noted
from server.web.forms.refusals import accepted
from server.web.forms.work import AgainForm, DoneForm, MistakeForm, WorkForm
from server.web.programmes import shown_works

SHOWN = timedelta(days=400)
# Where a tap leads back to.
BACK = {"farm": "farm", "work": "work"}


@farm_page(Need.RECORD)
@require_http_methods(["GET", "HEAD", "POST"])
def work(request: HttpRequest, visit: Visit) -> HttpResponse:
    """What is due, what is usual, the form, and what was noted so far."""
    form = WorkForm(request.POST or None, facilities=list(facilities_of(visit.farm)), initial=_initial(request, visit))
    if form.is_valid() and accepted(form, lambda: _note(visit, form)):
        messages.success(request, _("Noted. Whether it helped shows in the weeks after it."))
        return redirect("farm", farm_id=visit.farm.id)
    noted = list(works_of(visit.farm, visit.today - SHOWN))
    context = {
        "visit": visit,
        "form": form,
        "due": due_told(visit),
        "back": "work",
        "usual": usual_of(visit, noted),
        "works": shown_works(visit.farm, noted, visit.today),
        "taken_back": _taken_back(visit),
    }
    return render(request, "web/work.html", context, status=422 if form.errors else 200)


@farm_page(Need.RECORD)
@require_POST
def again(request: HttpRequest, visit: Visit) -> HttpResponse:
    """What is usually done was done today; a second tap adds nothing."""
    form = AgainForm(request.POST, facilities=list(facilities_of(visit.farm)))
    if form.is_valid():
        done = WorkDone(form.cleaned_data["kind"], visit.today, form.place)
        _tapped(request, visit, lambda: record_again(farm=visit.farm, work=done, actor=visit.actor, now=visit.now))
    else:
        messages.error(request, _("This wasn't noted. Note it with the form below."))
    return redirect("work", farm_id=visit.farm.id)


@farm_page(Need.RECORD)
@require_POST
def done(request: HttpRequest, visit: Visit, planned_work_id: UUID) -> HttpResponse:
    """A planned day was done today; where somebody was quicker, the second is told who."""
    planned = one_of(planned_works_of(visit.farm), planned_work_id)
    form = DoneForm(request.POST)
    if form.is_valid():
        deed = as_planned(planned, form.cleaned_data["day"], visit.today)
        _tapped(request, visit, lambda: record_work(farm=visit.farm, work=deed, actor=visit.actor, now=visit.now))
    else:
        messages.error(request, _("This wasn't noted: its day is missing. Tap the button of a day that is due."))
    return redirect(BACK.get(request.POST.get("back", ""), "work"), farm_id=visit.farm.id)


@farm_page(Need.RECORD)
@require_http_methods(["GET", "HEAD", "POST"])
def mistake(request: HttpRequest, visit: Visit, work_id: UUID) -> HttpResponse:
    """Take a work back that was noted by mistake, and say why: it stays on record, and counts nowhere."""
    found = one_of(works_on_record(visit.farm), work_id)
    form = MistakeForm(request.POST or None)
    if form.is_valid() and accepted(form, lambda: _take_back(visit, found, form)):
        messages.success(request, _("Taken back. It stays on record, and counts nowhere."))
        return redirect("work", farm_id=visit.farm.id)
    context = {"visit": visit, "form": form, "work": found}
    return render(request, "web/work_mistake.html", context, status=422 if form.errors else 200)


def _initial(request: HttpRequest, visit: Visit) -> dict[str, Any]:
    """Today; and what was planned, where the page is asked for a day of a plan."""
    initial: dict[str, Any] = {"done_on": visit.today}
    asked = planned_asked(request, visit)
    if asked is None or asked[0].is_application:
        return initial
    planned, day = asked
    return initial | {
        "kind": planned.kind, "facility": str(planned.facility_id or ""), "species": planned.species,
        "number": planned.number, "planned": planned.id, "planned_for": day,
    }  # fmt: skip


def _note(visit: Visit, form: WorkForm) -> None:
    wanted = form.cleaned_data
    deed = WorkDone(
        wanted["kind"], wanted["done_on"], form.place, form.was_thorough, not_reached=wanted["not_reached"],
        species=wanted["species"], number=wanted["number"], batch=wanted["batch"],
        stands_for=stands_for(visit, wanted),
    )  # fmt: skip
    record_work(farm=visit.farm, work=deed, actor=visit.actor, now=visit.now)


def _take_back(visit: Visit, found: Any, form: MistakeForm) -> None:
    take_back_work(work=found, why=form.cleaned_data["why"], actor=visit.actor, now=visit.now)


def _tapped(request: HttpRequest, visit: Visit, act: Any) -> None:
    """Do what one tap asks, and say what became of it. A second tap of one's own is no news."""
    try:
        noted = act()
    except (AlreadyNoted, PlannedDayDone) as known:
        own, name = who_noted(visit, known)
        words = _("{name} noted it already. It stands once.").format(name=name) if name and not own else str(known)
        messages.info(request, _("It is noted. It stands once.") if own else words)
    except (Invalid, Conflict) as refusal:
        messages.error(request, refusal.errors[0].detail if refusal.errors else str(refusal))
    else:
        messages.success(request, _("Noted: {work}. If that was a mistake, take it back on the page of work.").format(
            work=_in_words(noted)))  # fmt: skip


def _in_words(noted: Any) -> str:
    """Clean-out, Calf barn, June 18."""
    place = f", {noted.facility.name}" if noted.facility_id else ""
    return f"{noted.get_kind_display()}{place}, {day_phrase(noted.done_on)}"


def _taken_back(visit: Visit) -> list[tuple[Any, str]]:
    """What was taken back in the time that the list shows, each with why."""
    rows = list(taken_back_rows(visit.farm, visit.today - SHOWN))
    why = words_about(visit.farm, [row.id for row in rows]) if rows else {}
    return [(row.work, why.get(row.id, "")) for row in rows]
