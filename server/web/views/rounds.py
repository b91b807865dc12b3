"""The farm's rounds, one of them as it was walked, and a reading corrected."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from farms.access import Need, one_of
from farms.errors import Missing
from farms.selectors import people_of
from monitoring.selectors import photos_of_round, readings_of_round, rounds_of, stations_of
from monitoring.services import correct_reading
from server.web.doors import Visit, farm_page
from server.web.forms.correct import CorrectForm
from server.web.forms.count import Line
from server.web.forms.refusals import accepted
from server.web.leg_verdict import legs_told
from server.web.views.photos import photo_form

PAGE = 50


@farm_page(Need.READ)
@require_safe
def rounds(request: HttpRequest, visit: Visit) -> HttpResponse:
    page = Paginator(rounds_of(visit.farm), PAGE).get_page(request.GET.get("page"))
    return render(request, "web/rounds.html", {"visit": visit, "page": page})


@farm_page(Need.READ)
@require_safe
def round_shown(request: HttpRequest, visit: Visit, round_id: UUID) -> HttpResponse:
    """A round with every reading, each corrected one beneath what replaced it."""
    found = one_of(rounds_of(visit.farm), round_id)
    readings = list(readings_of_round(visit.farm, found.id))
    corrected = {reading.corrects_id for reading in readings if reading.corrects_id}
    by_id = {reading.id: reading for reading in readings}
    lines = [(reading, _before(reading, by_id)) for reading in readings if reading.id not in corrected]
    names = {person.id: person.name for person in people_of(visit.farm)}
    context = {
        "visit": visit,
        "round": found,
        "lines": lines,
        "legs": {told.reading.id: told for told in legs_told(visit.farm, found)},
        "notes": list(found.notes.all()),
        "photos": photos_of_round(visit.farm, found.id),
        "photo_form": photo_form(visit),
        "counted_by": names.get(found.counted_by),
        "typed_by": names.get(found.typed_by),
    }
    return render(request, "web/round.html", context)


def _before(reading: Any, by_id: dict[UUID, Any]) -> list[Any]:
    """What stood before this reading, newest first."""
    before = []
    while (reading := by_id.get(reading.corrects_id)) is not None:
        before.append(reading)
    return before


@farm_page(Need.RECORD)
@require_http_methods(["GET", "HEAD", "POST"])
def correct(request: HttpRequest, visit: Visit, round_id: UUID, reading_id: UUID) -> HttpResponse:
    """Replace what a reading says, for a reason. The first stays on record."""
    found = one_of(rounds_of(visit.farm), round_id)
    reading = next((row for row in readings_of_round(visit.farm, found.id) if row.id == reading_id), None)
    if reading is None:
        raise Missing()
    stations = stations_of(visit.farm)
    line = Line(reading.station, reading.taken_on, reading.placement_id, reading.hung_on)
    form = CorrectForm(request.POST or None, line=line, stations=stations, initial=CorrectForm.as_it_stands(reading))
    if form.is_valid() and accepted(form, lambda: _correct(visit, form, reading_id)):
        messages.success(request, _("Corrected. What was stored first stays on record, with the reason."))
        return redirect("round", farm_id=visit.farm.id, round_id=round_id)
    context = {"visit": visit, "round": found, "reading": reading, "form": form}
    return render(request, "web/correct.html", context, status=422 if form.errors else 200)


def _correct(visit: Visit, form: CorrectForm, reading_id: UUID) -> None:
    correct_reading(
        farm=visit.farm, reading_id=reading_id, correction=form.correction(), kind=form.cleaned_data["kind"],
        actor=visit.actor, now=visit.now,
    )  # fmt: skip
