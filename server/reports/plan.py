"""A farm's plan on paper: the sheet with each station's name, and the stations in walking order."""

from collections.abc import Sequence
from datetime import date
from itertools import groupby
from typing import TYPE_CHECKING, Any

from django.http import HttpResponse
from django.utils.formats import date_format
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.utils.translation import override

from farms.selectors import facilities_of
from monitoring.rules.outlines import Outline
from monitoring.selectors import outlines_of, pictures_of, plan_of, spots_of, stations_of
from server.reports.typesetter import PAPERS, set_pdf

if TYPE_CHECKING:
    from farms.models import Facility, Farm
    from monitoring.models import Plan, Station

PLAIN_SHAPE = 0.7  # height by width, where nobody has drawn a plan
ENDINGS = {"jpeg": "jpg", "png": "png"}


def plan_answer(farm: "Farm", day: date, language: str, paper: str) -> HttpResponse:
    """The plan as a file to print."""
    response = HttpResponse(plan_pdf(farm, day, language, paper), content_type="application/pdf")
    name = content_disposition_header(as_attachment=True, filename=f"plan-{day:%Y-%m-%d}-{language}.pdf")
    response.headers["Content-Disposition"] = str(name)
    return response


def plan_pdf(farm: "Farm", day: date, language: str, paper: str) -> bytes:
    """The plan of a day in a language, on paper of a kind (a key of PAPERS)."""
    plan, stations = plan_of(farm), stations_of(farm, day)
    spots = spots_of(farm)
    names = {facility.id: facility.name for facility in facilities_of(farm)}
    picture = pictures_of(farm).filter(id=plan.picture_id).first() if plan and plan.picture_id else None
    pictures = {f"sheet.{ENDINGS[picture.kind]}": bytes(picture.content)} if picture else {}
    with override(language):
        given = {
            "paper": PAPERS[paper],
            "lang": language,
            "author": farm.group.name,
            "picture": next(iter(pictures), ""),
            "shape": _shape(plan),
            "outlines": [_outline(each, names) for each in outlines_of(plan)],
            "marks": [
                {"label": station.label, "x": spots[station.id][0], "y": spots[station.id][1]}
                for station in stations
                if station.id in spots
            ],
            "buildings": _buildings(stations),
            **_words(farm, day, stations, {station.id for station in stations if station.id in spots}),
        }
    return set_pdf("plan.typ", given, pictures)


def _shape(plan: "Plan | None") -> float:
    return plan.height / plan.width if plan else PLAIN_SHAPE


def _outline(outline: Outline, names: dict[Any, str]) -> dict[str, Any]:
    name = outline.name or names.get(outline.facility_id, "")
    return {"name": name, "points": [list(point) for point in outline.points]}


def _buildings(stations: "Sequence[Station]") -> list[dict[str, Any]]:
    """The stations in walking order, building by building."""

    def building(station: "Station") -> "Facility":
        facility: Facility = station.facility
        return facility

    return [
        {"name": facility.name, "stations": [{"label": each.label, "note": _note(each)} for each in of_it]}
        for facility, of_it in groupby(stations, key=building)
    ]


def _note(station: "Station") -> str:
    """What helps to find it, and to reach it: that it hangs near milk, feed or water."""
    siting = station.siting  # type: ignore[attr-defined]
    return str(siting.get_near_display()) if siting is not None and siting.near != "nothing" else ""


def _words(farm: "Farm", day: date, stations: "Sequence[Station]", placed: set[Any]) -> dict[str, str]:
    """What stands around the plan, in the active language."""
    missing = [station.label for station in stations if station.id not in placed]
    told = date_format(day, "DATE_FORMAT")
    return {
        "title": _("Plan of {farm}").format(farm=farm.name),
        "day": told,
        "described": _("Plan of the yard with {number} numbered places; the list below names each.").format(
            number=len(placed)
        ),
        "walk": _("In walking order"),
        "near": _("near: {what}"),
        "missing": _("Not on the plan yet: {labels}.").format(labels=", ".join(missing)) if missing else "",
        "caution": _(
            "Before you walk: ask what was sprayed or baited and when the place may be entered again; the label says. "
            "Cards out of reach of animals and children. Never climb into a pit, and not alone among cattle."
        ),
        "foot": f"{farm.name} · {told}",
    }
