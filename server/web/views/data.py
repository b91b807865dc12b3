"""The farm's data to take along: which tables there are, and the formats they leave in."""

from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from farms.access import Need
from server.evidence.farm import newest_head_of
from server.exports.tables import TABLES
from server.web.doors import Visit, farm_page
from server.web.forms.farm import DaysForm

# In the order in which people ask for them: for a spreadsheet first.
FORMATS = (("xlsx", _("Spreadsheet")), ("csv", "CSV"), ("ndjson", "NDJSON"), ("parquet", "Parquet"))
NAMES = {
    "readings": (_("Counts"), _("Each card, trap and leg count as it was found. Corrected ones are in as corrected.")),
    "weeks": (_("Weeks"), _("Week by week, all places of the farm together.")),
    "results": (_("Weekly results"), _("What each Monday's check said, with the action level of its week.")),
    "rounds": (_("Rounds"), _("Which day was walked, and how it came in. No names.")),
    "stations": (_("Cards, traps and their places"), _("Which barn each is in, and how it hangs.")),
    "photos": (_("Photos"), _("Which photos were taken on rounds, and when; without the pictures.")),
    "findings": (_("Fly walks"), _("What was found at each place looked at, and how it stands. No names, no notes.")),
    "works": (_("Work"), _("What was done against flies, and when.")),
    "applications": (
        _("Sprays, pour-ons and baits"),
        _("Each with its record: label, amount, place, times. No names of people."),
    ),
    "planned-works": (_("Planned work"), _("What was planned, once or again and again.")),
    "planned-steps": (_("Left out and ended"), _("Days of plans that were left out, and plans that were ended.")),
}


@farm_page(Need.READ)
@require_safe
def data(request: HttpRequest, visit: Visit) -> HttpResponse:
    """Links to the API's own files; the days chosen here narrow those that have days."""
    form = DaysForm(request.GET or None)
    days = {name: day.isoformat() for name, day in form.cleaned_data.items() if day} if form.is_valid() else {}
    context = {
        "visit": visit,
        "form": form,
        "tables": [_links(visit, name, days) for name in NAMES],
        "package": _address(visit, "datapackage-json"),
        "map": _address(visit, "stations-geojson"),
        "archive": _address(visit, "darwin-core-zip", days),
        "evidence": _address(visit, "evidence-json"),
        "covering": newest_head_of(visit.farm),
        "everything": _address(visit, "farm-archive-zip") if visit.may["own"] else None,
    }
    return render(request, "web/data.html", context, status=422 if form.errors else 200)


def _links(visit: Visit, name: str, days: dict[str, str]) -> dict[str, Any]:
    title, says = NAMES[name]
    asked = {word: day for word, day in days.items() if word in TABLES[name].filters}
    files = [(label, _address(visit, f"{name}-{ending}", asked)) for ending, label in FORMATS]
    return {"title": title, "says": says, "files": files, "schema": _address(visit, f"{name}-schema.json")}


def _address(visit: Visit, name: str, asked: dict[str, str] | None = None) -> str:
    address = reverse(f"export-{name}", kwargs={"farm_id": visit.farm.id})
    return f"{address}?{urlencode(asked)}" if asked else address
