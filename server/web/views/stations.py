"""Barns and lots, the numbered cards, traps and leg counts in them, and how each one hangs."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from alerts.selectors import newest_week
from farms.access import Need
from farms.errors import Missing
from farms.selectors import facilities_of
from farms.services import add_facility
from monitoring.selectors import stations_of
from monitoring.services import SitingData, add_station, resite_station
from server.web.doors import Visit, farm_page
from server.web.forms.farm import FacilityForm, SitingForm, StationForm
from server.web.forms.refusals import accepted
from server.web.precision import more_would_help


@farm_page(Need.MANAGE)
@require_safe
def stations(request: HttpRequest, visit: Visit) -> HttpResponse:
    return _page(request, visit)


@farm_page(Need.MANAGE)
@require_POST
def add_barn(request: HttpRequest, visit: Visit) -> HttpResponse:
    form = FacilityForm(request.POST, prefix="barn")
    if form.is_valid() and accepted(form, lambda: add_facility(farm=visit.farm, **form.cleaned_data)):
        messages.success(request, _("%(name)s is added.") % {"name": form.cleaned_data["name"]})
        return redirect("stations", farm_id=visit.farm.id)
    return _page(request, visit, barn=form)


@farm_page(Need.MANAGE)
@require_POST
def add_station_here(request: HttpRequest, visit: Visit) -> HttpResponse:
    facilities = list(facilities_of(visit.farm))
    form = StationForm(request.POST, facilities=facilities, prefix="station")
    made: list[Any] = []
    if form.is_valid() and accepted(form, lambda: made.append(_add(visit, form, facilities))):
        messages.success(request, _("%(label)s is added. It is hung on the next round.") % {"label": made[0].label})
        return redirect("stations", farm_id=visit.farm.id)
    return _page(request, visit, station=form)


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def siting(request: HttpRequest, visit: Visit, station_id: UUID) -> HttpResponse:
    """How a station hangs from a day on; what was noted before stays with the counts of its time."""
    station = next((item for item in stations_of(visit.farm) if item.id == station_id), None)
    if station is None:
        raise Missing()
    form = SitingForm(request.POST or None, initial=_as_it_hangs(station.siting) | {"since": visit.today})
    if form.is_valid() and accepted(form, lambda: _resite(visit, form, station)):
        messages.success(request, _("Noted how %(label)s hangs.") % {"label": station.label})
        return redirect("stations", farm_id=visit.farm.id)
    context = {"visit": visit, "form": form, "station": station}
    return render(request, "web/siting.html", context, status=422 if form.errors else 200)


def _add(visit: Visit, form: StationForm, facilities: list[Any]) -> Any:
    wanted = form.cleaned_data
    facility = next(item for item in facilities if str(item.id) == wanted["facility"])
    how = SitingData(windy=wanted["windy"], near=wanted["near"], out_of_reach=form.reach, position=wanted["position"])
    return add_station(
        farm=visit.farm, facility=facility, method=wanted["method"], number=wanted["number"], since=wanted["since"],
        siting=how,
    )  # fmt: skip


def _resite(visit: Visit, form: SitingForm, station: Any) -> None:
    wanted, before = form.cleaned_data, station.siting
    how = SitingData(
        windy=wanted["windy"], near=wanted["near"], out_of_reach=form.reach, position=station.position,
        x=before.x if before else None, y=before.y if before else None,
    )  # fmt: skip
    resite_station(farm=visit.farm, station=station, siting=how, since=wanted["since"])


def _as_it_hangs(how: Any) -> dict[str, Any]:
    if how is None:
        return {}
    reach = {True: "yes", False: "no", None: ""}[how.out_of_reach]
    return {"near": how.near, "windy": how.windy, "out_of_reach": reach}


def _page(
    request: HttpRequest, visit: Visit, *, barn: FacilityForm | None = None, station: StationForm | None = None
) -> HttpResponse:
    facilities, places = list(facilities_of(visit.farm)), list(stations_of(visit.farm))
    week = newest_week(visit.farm)
    context = {
        "visit": visit,
        "facilities": [(item, [place for place in places if place.facility_id == item.id]) for item in facilities],
        "more": more_would_help(visit.farm, week) if week else [],
        "barn": barn or FacilityForm(prefix="barn", initial={"position": len(facilities) + 1}),
        "station": station
        or StationForm(
            prefix="station", facilities=facilities, initial={"since": visit.today, "position": len(places) + 1}
        ),
    }
    return render(request, "web/stations.html", context, status=422 if barn or station else 200)
