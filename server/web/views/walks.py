"""Fly walks: where one begins, the walk itself as one form, and what it found."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from alerts.selectors import alerts_of
from farms.access import Need, one_of
from farms.errors import Conflict, FlyroundError, Missing
from farms.ids import uuid7
from farms.selectors import facilities_of, season_on
from monitoring.errors import WalkRefused
from monitoring.rules.pixels import MOST_BYTES
from monitoring.rules.walk import checklist_of, is_spring
from monitoring.selectors import findings_of, stations_of, walks_of
from monitoring.services import FindingPhotoSent, WalkSent, add_finding_photo, record_walk
from server.web.doors import Visit, farm_page
from server.web.forms.refusals import show_refusal
from server.web.forms.walk import PlaceForm, WalkForm, place_forms
from server.web.plan import ground_of, plates
from server.web.walks import finding_lines, open_lines

A_PAGE = 50
OWN_WORDS = ("other", "other")


@dataclass(frozen=True)
class Begun:
    """From what a walk begins: a barn or lot (None: all over the farm), a card, an open matter."""

    facility: Any = None
    station: Any = None
    alert: Any = None


@farm_page(Need.READ)
@require_safe
def walks(request: HttpRequest, visit: Visit) -> HttpResponse:
    page = Paginator(walks_of(visit.farm), A_PAGE).get_page(request.GET.get("page"))
    context = {
        "visit": visit,
        "open": open_lines(visit.farm, visit.today),
        "facilities": list(facilities_of(visit.farm)),
        "page": page,
    }
    return render(request, "web/walks.html", context)


@farm_page(Need.READ)
@require_safe
def walk(request: HttpRequest, visit: Visit, walk_id: UUID) -> HttpResponse:
    found = one_of(walks_of(visit.farm), walk_id)
    rows = findings_of(visit.farm).filter(walk_id=found.id).order_by("nothing", "id")
    alert = alerts_of(visit.farm).filter(id=found.alert_id).first() if found.alert_id else None
    context = {"visit": visit, "walk": found, "alert": alert, "lines": finding_lines(visit.farm, rows, visit.today)}
    return render(request, "web/walk.html", context)


@farm_page(Need.RECORD)
@require_http_methods(["GET", "HEAD", "POST"])
def walk_new(request: HttpRequest, visit: Visit) -> HttpResponse:
    """The walk as one form, a place below the other. Photos that can't be read are named; the walk is kept."""
    begun, stations = _begun(request, visit), stations_of(visit.farm, visit.today)
    places = _places(visit, begun)
    if request.method == "POST":
        form = WalkForm(request.POST)
        forms = place_forms(places, stations, request.POST, request.FILES)
        made = _recorded(visit, begun, form, forms)
        if made is not None:
            _add_photos(request, visit, forms)
            messages.success(request, _("The walk is noted. What was found is followed until it is gone."))
            return redirect("walk", farm_id=visit.farm.id, walk_id=made.id)
        status = 422
    else:
        form = WalkForm(initial={"id": uuid7(), "walked_on": visit.today})
        forms, status = place_forms(places, stations), 200
    ground = ground_of(visit.farm)
    context = {
        "visit": visit, "begun": begun, "form": form, "places": forms, "ground": ground,
        "wrong": sum(bool(each.errors) for each in forms) if status == 422 else 0,
        "drawings": plates(ground, visit.today) if ground.plan else None,
    }  # fmt: skip
    return render(request, "web/walk_new.html", context, status=status)


def _begun(request: HttpRequest, visit: Visit) -> Begun:
    """What the address names. Raises Missing for what isn't the farm's."""
    station, card = None, request.GET.get("card")
    if card:
        station = next((each for each in stations_of(visit.farm) if str(each.id) == card), None)
        if station is None:
            raise Missing()
    alert = _one(alerts_of(visit.farm), request.GET.get("matter", ""))
    facility_id = request.GET.get("building", "")
    if not facility_id and station is not None:
        facility_id = str(station.facility_id)
    if not facility_id and alert is not None and alert.facility_id:
        facility_id = str(alert.facility_id)
    return Begun(_one(facilities_of(visit.farm), facility_id), station, alert)


def _one(rows: QuerySet[Any], asked: str) -> Any:
    if not asked:
        return None
    try:
        return one_of(rows, UUID(asked))
    except ValueError as wrong:
        raise Missing() from wrong


def _places(visit: Visit, begun: Begun) -> list[str]:
    season = season_on(visit.farm, visit.today)
    spring = is_spring(season.opens_on if season else None, visit.today)
    return [*checklist_of(begun.facility.kind if begun.facility else None, spring=spring), *OWN_WORDS]


def _recorded(visit: Visit, begun: Begun, form: WalkForm, forms: Sequence[PlaceForm]) -> Any:
    """The walk as it was stored; None where something can't be right, which then stands beside its field."""
    if not all([form.is_valid(), *(each.is_valid() for each in forms)]):
        return None
    looked = [each for each in forms if each.was_looked_at]
    sent = WalkSent(
        form.cleaned_data["id"], form.cleaned_data["walked_on"], [each.finding(begun.facility) for each in looked],
        begun.facility, begun.station, begun.alert.id if begun.alert else None,
    )  # fmt: skip
    try:
        return record_walk(farm=visit.farm, sent=sent, actor=visit.actor, now=visit.now)
    except WalkRefused as refusal:
        for fault in refusal.errors:
            number = fault.pointer.removeprefix("/findings/").partition("/")[0]
            at, name = (looked[int(number)] if number.isdecimal() else form), fault.pointer.rsplit("/", 1)[-1]
            name = {"nothing": "looked", "x": "across"}.get(name, name)
            at.add_error(name if name in at.fields else None, fault.detail)
    except Conflict as refusal:
        show_refusal(form, refusal)
    return None


def _add_photos(request: HttpRequest, visit: Visit, forms: Sequence[PlaceForm]) -> None:
    """The photos that came with the places; one that can't be kept is named, and the others are."""
    for each in forms:
        photo = each.cleaned_data.get("photo")
        if photo is None or not each.was_looked_at:
            continue
        finding = one_of(findings_of(visit.farm), each.cleaned_data["id"])
        # One byte more than is taken: enough to be refused, whatever its size. Its id is made of the finding's own, so
        # that a form sent twice is one photo.
        sent = FindingPhotoSent(each.cleaned_data["id"], photo.read(MOST_BYTES + 1))
        try:
            add_finding_photo(finding=finding, sent=sent, actor=visit.actor, now=visit.now)
        except FlyroundError as refusal:
            place = each.name or each.cleaned_data["place_words"]
            words = _("The photo of “{place}” isn't kept: {why} Add it to the place below.")
            why = " ".join({fault.detail for fault in refusal.errors} or {str(refusal)})
            messages.error(request, words.format(place=place, why=why))
