"""Cards, tags, labels and the round's sheet as PDF, for whoever reads the farm: its people and its advisers.

A farm phone prints nothing: what is printed hangs in the barn anyway, but a phone reaches its round and no other page.
"""

from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_safe

from farms.access import Need
from monitoring.selectors import round_sheet, stations_of
from server.reports.cards import BACKS, LABELS, TAGS, cards_pdf
from server.reports.round_sheet import Sheet, round_sheet_pdf
from server.reports.typesetter import usual_paper
from server.web.choices import choices_of
from server.web.doors import Visit, farm_page
from server.web.forms.printing import SIZES_OF, CardsForm, RoundSheetForm

SHEET = "sheet"
KINDS = (BACKS, TAGS, LABELS, SHEET)
FILES = {BACKS: "cards", TAGS: "tags", LABELS: "trap-labels", SHEET: "round-sheet"}


@farm_page(Need.READ)
@require_safe
def print_page(request: HttpRequest, visit: Visit) -> HttpResponse:
    return _page(request, visit)


@farm_page(Need.READ)
@require_safe
def print_file(request: HttpRequest, visit: Visit) -> HttpResponse:
    """The file (?kind=backs&size=...), or the page with what is wrong beside its field."""
    kind = request.GET.get("kind", "")
    form = _form(kind, visit, request.GET) if kind in KINDS else None
    if form is None or not form.is_valid():
        return _page(request, visit, {kind: form} if form else {}, status=422)
    response = HttpResponse(_pdf(form, visit), content_type="application/pdf")
    name = content_disposition_header(as_attachment=True, filename=f"{FILES[kind]}.pdf")
    response.headers["Content-Disposition"] = str(name)
    return response


def tag_address(station: Any) -> str:
    """Where a station's QR code leads."""
    return settings.SITE_URL + reverse("tag", kwargs={"farm_id": station.farm_id, "station_id": station.id})


def _pdf(form: CardsForm | RoundSheetForm, visit: Visit) -> bytes:
    if isinstance(form, CardsForm):
        return cards_pdf(visit.farm, form.chosen, form.cards, tag_address)
    # Lazy words: the sheet says them in its own language.
    reasons = [label for value, label in choices_of("monitoring.Reading", "reason") if value]
    return round_sheet_pdf(visit.farm, round_sheet(visit.farm, visit.today), Sheet(**form.cleaned_data), reasons)


def _form(kind: str, visit: Visit, sent: Any = None, stations: list[Any] | None = None) -> CardsForm | RoundSheetForm:
    usual = {"paper": usual_paper(visit.farm.time_zone), "language": visit.farm.language, "copies": 1}
    if kind == SHEET:
        return RoundSheetForm(sent, initial=usual)
    found = stations_of(visit.farm, visit.today) if stations is None else stations
    return CardsForm(sent, kind=kind, stations=found, initial=usual | {"size": SIZES_OF[kind][0][0]})


def _page(
    request: HttpRequest, visit: Visit, sent: dict[str, CardsForm | RoundSheetForm] | None = None, status: int = 200
) -> HttpResponse:
    stations = stations_of(visit.farm, visit.today)
    forms = {kind: (sent or {}).get(kind) or _form(kind, visit, stations=stations) for kind in KINDS}
    return render(request, "web/print.html", {"visit": visit, "stations": stations, **forms}, status=status)
