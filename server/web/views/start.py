"""The guide from a new farm to its first round: what is done, what is next, each step a page that may be left.

Each step is what the settings do, many at once. Nothing waits between two steps: what was sent is stored.
"""

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_safe

from farms.access import Need
from farms.invitations import invitations_of
from farms.selectors import facilities_of, members_of, people_of, season_on, seasons_of
from farms.services import Invitee, add_facility, add_person, change_farm, open_season
from monitoring.selectors import last_round, stations_of
from monitoring.services import NewStation, SitingData, add_stations
from server.web.doors import Visit, farm_page
from server.web.forms.refusals import accepted
from server.web.forms.start import (
    BuildingsForm,
    FarmForm,
    HowManyForm,
    KindsForm,
    PeopleForm,
    PlacesForm,
    buildings_proposed,
)
from server.web.proposals import proposed_stations
from server.web.views.invitations import invite_here


@dataclass(frozen=True)
class Step:
    """One step: its heading, what is there already, and where it is done. `address` is empty where nothing leads on."""

    name: str
    told: str
    done: bool
    address: str


@farm_page(Need.MANAGE)
@require_safe
def start(request: HttpRequest, visit: Visit) -> HttpResponse:
    steps = _steps(visit)
    following = next((step for step in steps if not step.done and step.address), None)
    return render(request, "web/start.html", {"visit": visit, "steps": steps, "following": following})


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def start_farm(request: HttpRequest, visit: Visit) -> HttpResponse:
    farm = visit.farm
    form = FarmForm(
        request.POST or None, rounds=last_round(farm) is not None, season=seasons_of(farm).exists(),
        initial={"name": farm.name, "language": farm.language, "time_zone": farm.time_zone, "opens_on": visit.today},
    )  # fmt: skip
    if form.is_valid() and accepted(form, lambda: _change(visit, form.cleaned_data)):
        messages.success(request, _("The farm is kept."))
        return redirect("start", farm_id=farm.id)
    season = season_on(farm, visit.today)
    context = {"visit": visit, "form": form, "season": season}
    return render(request, "web/start_farm.html", context, status=422 if form.errors else 200)


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def start_buildings(request: HttpRequest, visit: Visit) -> HttpResponse:
    """First how many of each kind; then their names, proposed and changeable, all stored at once."""
    here, given = list(facilities_of(visit.farm)), request.POST if request.method == "POST" else None
    kinds, names = KindsForm(given if given and "kind" not in given else None), None
    if given is not None and "kind" in given:
        names = BuildingsForm(given)
        if names.is_valid() and accepted(names, lambda: _add_buildings(visit, names.buildings, len(here))):
            told = ngettext("%(n)d building is added.", "%(n)d buildings are added.", len(names.buildings))
            messages.success(request, told % {"n": len(names.buildings)})
            return redirect("start", farm_id=visit.farm.id)
    elif kinds.is_valid():
        if kinds.wanted:
            names = buildings_proposed(kinds.wanted, [each.name for each in here])
        else:
            kinds.add_error(None, _("Say how many there are of at least one kind."))
    context = {"visit": visit, "kinds": kinds, "names": names, "here": here}
    wrong = kinds.errors or (names is not None and names.errors)
    return render(request, "web/start_buildings.html", context, status=422 if wrong else 200)


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def start_stations(request: HttpRequest, visit: Visit) -> HttpResponse:
    """First how many in each building; then the numbered places, changeable, all stored at once."""
    facilities, here = list(facilities_of(visit.farm)), stations_of(visit.farm)
    given = request.POST if request.method == "POST" else None
    chosen = given is not None and "place" in given
    many = HowManyForm(None if chosen else given, facilities=facilities, stations=here)
    places = PlacesForm(given, facilities=facilities) if chosen else None
    if places is not None and places.is_valid() and accepted(places, lambda: _add_stations(visit, places.typed, here)):
        number = len(places.typed)
        told = ngettext("%(n)d place is added.", "%(n)d places are added.", number) % {"n": number}
        messages.success(request, told)
        return redirect("start", farm_id=visit.farm.id)
    if many.is_valid():
        if many.wanted:
            places = PlacesForm(facilities=facilities, proposed=proposed_stations(many.wanted, here))
        else:
            many.add_error(None, _("Say how many there are to be in at least one building."))
    context = {"visit": visit, "many": many, "places": places, "facilities": facilities, "here": here}
    wrong = many.errors or (places is not None and places.errors)
    return render(request, "web/start_stations.html", context, status=422 if wrong else 200)


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def start_people(request: HttpRequest, visit: Visit) -> HttpResponse:
    form = PeopleForm(request.POST or None, owner=visit.may["own"])
    if form.is_valid() and accepted(form, lambda: _add_people(request, visit, form.people)):
        told = ngettext("%(n)d person is added.", "%(n)d people are added.", len(form.people))
        messages.success(request, told % {"n": len(form.people)})
        return redirect("start", farm_id=visit.farm.id)
    context = {"visit": visit, "form": form, "people": people_of(visit.farm)}
    return render(request, "web/start_people.html", context, status=422 if form.errors else 200)


def _steps(visit: Visit) -> list[Step]:
    farm = visit.farm
    buildings, stations, counted = facilities_of(farm).count(), len(stations_of(farm)), last_round(farm) is not None

    def at(name: str, *, possible: bool = True) -> str:
        return reverse(name, args=[farm.id]) if possible else ""

    hanging = _("The first visit only hangs: nothing is counted, and the next round is due in seven days.")
    printing = _("Print them, and write nothing on the counted face.")
    return [
        Step(_("The farm"), _farm_told(visit), seasons_of(farm).exists(), at("start_farm")),
        Step(_("Barns and lots"), _buildings_told(buildings), bool(buildings), at("start_buildings")),
        Step(
            _("Cards, traps and leg counts"), _places_told(stations), bool(stations),
            at("start_stations", possible=bool(buildings)),
        ),
        Step(_("People and phones"), _people_told(visit), _anybody(visit), at("start_people")),
        Step(_("Cards and tags on paper"), printing, counted, _print_address(visit) if stations else ""),
        Step(_("The first round"), hanging, counted, at("count", possible=bool(stations))),
    ]  # fmt: skip


def _print_address(visit: Visit) -> str:
    """Where cards are printed, if there is such a page."""
    try:
        return reverse("print", args=[visit.farm.id])
    except NoReverseMatch:
        return ""


def _farm_told(visit: Visit) -> str:
    zone = visit.farm.time_zone.replace("_", " ")
    return f"{visit.farm.name} · {visit.farm.region.name} · {zone}"


def _buildings_told(number: int) -> str:
    return ngettext("%(n)d building", "%(n)d buildings", number) % {"n": number}


def _places_told(number: int) -> str:
    return ngettext("%(n)d numbered place", "%(n)d numbered places", number) % {"n": number}


def _people_told(visit: Visit) -> str:
    names, waiting = len(people_of(visit.farm)), invitations_of(visit.farm).count()
    told = ngettext("%(n)d name to tap", "%(n)d names to tap", names) % {"n": names}
    if not waiting:
        return told
    invited = ngettext("%(n)d invitation waits", "%(n)d invitations wait", waiting) % {"n": waiting}
    return f"{told}, {invited}"


def _anybody(visit: Visit) -> bool:
    return bool(people_of(visit.farm)) or len(members_of(visit.farm)) > 1 or invitations_of(visit.farm).exists()


@transaction.atomic
def _change(visit: Visit, typed: dict[str, Any]) -> None:
    change_farm(
        farm=visit.farm, name=typed["name"], language=typed["language"], time_zone=typed.get("time_zone")
    )  # fmt: skip
    if "opens_on" in typed:
        open_season(farm=visit.farm, opens_on=typed["opens_on"])


@transaction.atomic
def _add_buildings(visit: Visit, buildings: list[tuple[str, str]], before: int) -> None:
    for place, (kind, name) in enumerate(buildings, start=before + 1):
        add_facility(farm=visit.farm, name=name, kind=kind, position=place)


def _add_stations(visit: Visit, typed: list[tuple[Any, str, int, str]], before: list[Any]) -> None:
    last = max((each.position for each in before), default=0)
    new = [
        NewStation(facility, method, number, SitingData(near=near, position=place))
        for place, (facility, method, number, near) in enumerate(typed, start=last + 1)
    ]
    add_stations(farm=visit.farm, stations=new, since=visit.today)


@transaction.atomic
def _add_people(request: HttpRequest, visit: Visit, people: list[dict[str, str]]) -> None:
    for each in people:
        add_person(farm=visit.farm, name=each["name"], initials=each["initials"], now=visit.now)
        if each["email"]:
            role = each["role"] or "recorder"
            invite_here(request, visit, Invitee(each["email"], each["name"], role, visit.farm.language))
