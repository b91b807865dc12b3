"""A farm's plan: a new sheet, and where its stations are on it. Earlier rows stay."""

import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.access import actor_on
from farms.clock import local_date
from farms.errors import Conflict, Detail, Invalid
from farms.ledger import append, lock_heads, next_number, row_hash, row_values, salted
from farms.lookups import array_of
from farms.models import Facility, Farm, LedgerHead, User
from monitoring.models import Plan, PlanPicture, Siting, Station
from monitoring.rules.outlines import Outline, WrongOutlines, on_the_sheet, outlines_from, outlines_kept
from monitoring.rules.pictures import Picture
from monitoring.selectors.plan import plan_of

# The shape of a sheet without a picture: that of most screens and of paper laid across.
PLAIN_SHEET = (1400, 1000)
PLACE_WRONG = _("A place on the plan has two numbers, each from 0 to 1: from the left, and from the top.")
STATION_ELSEWHERE = _("This station isn't one of this farm's. Load the plan again, and place the stations shown there.")

Place = tuple[float, float] | None


class PlanRefused(Invalid):
    code = "plan_refused"
    message = _("Nothing of the plan was stored. Correct what is named below and save it again.")


class PlanChanged(Conflict):
    code = "plan_changed"
    message = _("Somebody saved another plan meanwhile. Load the page again, and draw on that one.")


@dataclass(frozen=True)
class Drawn:
    """What is saved at once: the outlines as they were sent (None: as they are), and by station where it is (None: not
    on the plan). `on` is the id of the plan that was drawn on, "" where there was none; None isn't compared.
    """

    outlines: Any = None
    places: Mapping[UUID, Place] = field(default_factory=dict)
    on: str | None = None


@transaction.atomic
def draw_plan(*, farm: Farm, drawn: Drawn, by: User, now: datetime) -> Plan | None:
    """Save outlines and places, all or nothing; the plan that holds. Raises PlanRefused, or PlanChanged where another
    plan is there by now than was drawn on.
    """
    head = lock_heads([farm.id])[farm.id]
    before = plan_of(farm)
    if drawn.on is not None and drawn.on != (str(before.id) if before else ""):
        raise PlanChanged()
    kept = outlines_kept(before.outlines) if before else ()
    outlines = kept if drawn.outlines is None else _outlines(drawn.outlines, farm)
    stations = _stations(farm, drawn.places)
    _place(stations, drawn.places, local_date(now, farm.time_zone))
    if before is not None and outlines == kept:
        return before
    if before is None and not outlines and not drawn.places:
        return None
    return _add(farm, head, before, outlines, by, now)


@transaction.atomic
def lay_picture(*, farm: Farm, picture: Picture | None, by: User, now: datetime) -> Plan:
    """A new sheet with this picture under it, or with none; outlines and places stay as they are."""
    head = lock_heads([farm.id])[farm.id]
    before = plan_of(farm)
    outlines = outlines_kept(before.outlines) if before else ()
    if picture is None:
        return _add(farm, head, None, outlines, by, now)
    kept = PlanPicture.objects.create(
        farm_id=farm.id, kind=picture.kind, width=picture.width, height=picture.height, content=picture.content,
        salt=secrets.token_bytes(16), entry=next_number(head),
    )  # fmt: skip
    return _add(farm, head, kept, outlines, by, now)


def picture_hash(picture: PlanPicture) -> bytes:
    """What the chain holds of a picture: not the picture."""
    values = row_values(picture, leave_out=("content", "salt"))
    told = {"content": salted(bytes(picture.content), bytes(picture.salt))}
    return row_hash(picture._meta.db_table, values | told)


def _add(
    farm: Farm, head: LedgerHead, under: Plan | PlanPicture | None, outlines: Iterable[Outline], by: User, now: datetime
) -> Plan:
    """A new plan on a new picture, or on the sheet of the plan before."""
    picture = under if isinstance(under, PlanPicture) else None
    width, height = (under.width, under.height) if under is not None else PLAIN_SHEET
    made = Plan.objects.create(
        farm_id=farm.id, picture_id=picture.id if picture else getattr(under, "picture_id", None), width=width,
        height=height, outlines=[each.as_json() for each in outlines], since=local_date(now, farm.time_zone),
        made_by_id=by.id, made_at=now, entry=next_number(head),
    )  # fmt: skip
    hashes = [row_hash(made._meta.db_table, row_values(made))]
    hashes += [picture_hash(picture)] if picture else []
    append(head, kind="plan", actor=actor_on(by, farm.id), row_hashes=hashes, now=now)
    return made


def _outlines(given: Any, farm: Farm) -> tuple[Outline, ...]:
    facilities = set(Facility.objects.filter(farm_id=farm.id).values_list("id", flat=True))
    try:
        return outlines_from(given, facilities)
    except WrongOutlines as wrong:
        raise PlanRefused(errors=wrong.errors) from wrong


def _stations(farm: Farm, places: Mapping[UUID, Place]) -> list[Station]:
    """The stations that are placed, all of this farm."""
    found = list(Station.objects.filter(farm_id=farm.id, id__any_of=array_of(places)))
    errors = [
        Detail(f"/places/{station_id}", str(STATION_ELSEWHERE), "unknown_station")
        for station_id in places.keys() - {station.id for station in found}
    ]
    errors += [
        Detail(f"/places/{station_id}", str(PLACE_WRONG), "place_wrong")
        for station_id, place in places.items()
        if place is not None and not (len(place) == 2 and all(map(on_the_sheet, place)))
    ]
    if errors:
        raise PlanRefused(errors=errors)
    return found


def _place(stations: list[Station], places: Mapping[UUID, Place], today: date) -> None:
    """A row of today for each that is elsewhere than before, and one for each later day on which it was sited anew.

    How it hangs stays as noted: a place on the plan says nothing of wind and water.
    """
    noted: dict[UUID, list[Siting]] = {station.id: [] for station in stations}
    if not stations:
        return
    rows = Siting.objects.filter(farm_id=stations[0].farm_id, station_id__any_of=array_of(noted))
    for siting in rows.order_by("since", "id"):
        noted[siting.station_id].append(siting)
    Siting.objects.bulk_create(
        _placed(siting, places[station.id], since)
        for station in stations
        for since, siting in _days(station, noted[station.id], today)
        if (siting.x, siting.y) != (places[station.id] or (None, None))
    )


def _days(station: Station, noted: list[Siting], today: date) -> list[tuple[date, Siting]]:
    """From which days on a station needs a row, each with how it stands then: today, and the days ahead."""
    first = max(today, station.since)
    newest = {siting.since: siting for siting in noted}
    before = [since for since in newest if since <= first]
    now = newest[max(before)] if before else Siting(farm_id=station.farm_id, station_id=station.id, since=first)
    return [(first, now), *((since, siting) for since, siting in newest.items() if since > first)]


def _placed(siting: Siting, place: Place, since: date) -> Siting:
    x, y = place or (None, None)
    return Siting(
        farm_id=siting.farm_id, station_id=siting.station_id, since=since, windy=siting.windy, near=siting.near,
        out_of_reach=siting.out_of_reach, x=x, y=y, only_place=True,
    )  # fmt: skip
