"""An open matter: what opened it, what happened since, and what somebody does about it. None of it ends the matter."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from alerts.models.alert import BY_THE_CHECK
from alerts.selectors import alert_history, alerts_of, not_counted_since, notes_of, with_state, works_linked_to
from alerts.services import acknowledge, link_work, mark_seen, snooze
from alerts.wording.matters import matter_phrase
from alerts.wording.numbers import day_phrase
from farms.access import Need, one_of
from farms.selectors import facilities_of
from monitoring.selectors import open_findings, works_of
from server.web.doors import Visit, farm_page
from server.web.forms.alert import LaterForm, NoteForm, WorkForm
from server.web.forms.refusals import accepted
from server.web.walks import FindingLine, finding_lines

Forms = dict[str, forms.Form]


@farm_page(Need.READ)
@require_http_methods(["GET", "HEAD", "POST"])
def alert(request: HttpRequest, visit: Visit, alert_id: UUID) -> HttpResponse:
    found = one_of(with_state(alerts_of(visit.farm)), alert_id)
    act = request.POST.get("act", "") if request.method == "POST" else ""
    shown = _forms(request, visit, found, act)
    if act in shown and shown[act].is_valid() and accepted(shown[act], _deeds(visit, found, shown)[act]):
        messages.success(request, _("Noted. It stays open until the counts end it."))
        return redirect("alert", farm_id=visit.farm.id, alert_id=found.id)
    notes, history = notes_of(found), list(alert_history(found))
    context = {
        "visit": visit,
        "alert": found,
        "not_counted_since": not_counted_since(found),
        "told": _told(visit, found, history),
        "history": [(event, notes.get(event.id, "")) for event in history],
        "works": [link.work for link in works_linked_to(found)],
        "findings": _open_findings(visit, found),
        "forms": shown,
    }
    return render(
        request, "web/alert.html", context, status=422 if any(form.errors for form in shown.values()) else 200
    )


def _told(visit: Visit, found: Any, history: list[Any]) -> str:
    """What an open matter rests on now, and what to look at."""
    known = next((event.evidence for event in reversed(history) if event.kind in BY_THE_CHECK), {})
    names = {str(place.id): place.name for place in facilities_of(visit.farm)}
    return matter_phrase(found.rule, found.method, known, names) if found.closed_at is None else ""


def _open_findings(visit: Visit, found: Any) -> list[FindingLine]:
    """What is open where the matter is: in its barn or lot, or found on a walk that began with it."""
    there = Q(walk__alert_id=found.id)
    rows = open_findings(visit.farm)
    if found.facility_id:
        rows = rows.filter(there | Q(facility_id=found.facility_id))
    return finding_lines(visit.farm, rows, visit.today)


def _forms(request: HttpRequest, visit: Visit, found: Any, act: str) -> Forms:
    """What may be done now, each with what was sent for it."""
    if found.closed_at is not None or not visit.may["record"]:
        return {}
    sent = {name: request.POST if name == act else None for name in ("seen", "note", "later", "work")}
    works = [(str(work.id), _work_line(work)) for work in works_of(visit.farm, since=found.opened_week)]
    shown: Forms = {
        "seen": forms.Form(sent["seen"]),
        "note": NoteForm(sent["note"]),
        "later": LaterForm(sent["later"]),
    }
    return shown | ({"work": WorkForm(sent["work"], works=works)} if works else {})


def _work_line(work: Any) -> str:
    """Clean-out in the calf barn, June 18."""
    place = f", {work.facility.name}" if work.facility_id and work.facility else ""
    return f"{work.get_kind_display()}{place}, {day_phrase(work.done_on)}"


def _deeds(visit: Visit, found: Any, shown: Forms) -> dict[str, Callable[[], Any]]:
    who = {"alert": found, "actor": visit.actor, "now": visit.now}

    def typed(name: str) -> Any:
        return shown[name].cleaned_data

    return {
        "seen": lambda: mark_seen(**who),
        "note": lambda: acknowledge(note=typed("note")["note"], **who),
        "later": lambda: snooze(until=typed("later")["until"], **who),
        "work": lambda: link_work(work=one_of(works_of(visit.farm), UUID(typed("work")["work_id"])), **who),
    }
