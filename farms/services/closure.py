"""Closing a farm or a region to visits, and opening it again. Nobody has to say why."""

from datetime import date, datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.access import actor_on
from farms.clock import local_date
from farms.closures import (
    Closure,
    closures_ahead,
    closures_ahead_of_region,
)
from farms.errors import Conflict, Invalid
from farms.ledger import append, lock_heads, next_number, row_hash, row_values
from farms.models import Farm, FarmClosure, Region, RegionClosure, User

FURTHEST = timedelta(days=366)


class ClosureDayWrong(Invalid):
    code = "closure_day_wrong"
    message = _("Choose a day from {today:%Y-%m-%d} on, at most a year ahead: what was visited before stays as it was.")


class ClosedAlready(Conflict):
    code = "closed_already"
    message = _("From this day on it is closed to visits already. Nothing needs to be done.")


class NotClosed(Conflict):
    code = "not_closed"
    message = _("From this day on it is open to visits already. Nothing needs to be done.")


@transaction.atomic
def close_farm(*, farm: Farm, from_on: date, by: User, now: datetime) -> FarmClosure:
    """Close a farm to visits from a day on. Raises ClosureDayWrong or ClosedAlready."""
    return _set_farm(farm, from_on, closed=True, by=by, now=now)


@transaction.atomic
def open_farm(*, farm: Farm, from_on: date, by: User, now: datetime) -> FarmClosure:
    """Lift a farm's closure from a day on, also one that has not begun. Raises ClosureDayWrong or NotClosed."""
    return _set_farm(farm, from_on, closed=False, by=by, now=now)


@transaction.atomic
def close_region(*, region: Region, from_on: date, by: User, now: datetime) -> RegionClosure:
    """Close every farm of a region to visits from a day on. The entry point lets coordinators in only."""
    return _set_region(region, from_on, closed=True, by=by, now=now)


@transaction.atomic
def open_region(*, region: Region, from_on: date, by: User, now: datetime) -> RegionClosure:
    """Lift a region's closure from a day on; farms that closed by themselves stay closed."""
    return _set_region(region, from_on, closed=False, by=by, now=now)


def _set_farm(farm: Farm, from_on: date, *, closed: bool, by: User, now: datetime) -> FarmClosure:
    _check_day(from_on, local_date(now, farm.time_zone))
    head = lock_heads([farm.id])[farm.id]
    _check_change(closures_ahead(farm, from_on), from_on, closed=closed)
    made = FarmClosure.objects.create(
        farm=farm, closed=closed, from_on=from_on, set_by=by, set_at=now, entry=next_number(head)
    )
    kind = "closed_to_visits" if closed else "open_to_visits"
    hashes = [row_hash(made._meta.db_table, row_values(made))]
    append(head, kind=kind, actor=actor_on(by, farm.id), row_hashes=hashes, now=now)
    return made


def _set_region(region: Region, from_on: date, *, closed: bool, by: User, now: datetime) -> RegionClosure:
    _check_day(from_on, local_date(now, region.group.time_zone))
    # Two coordinators at the same moment: one after the other.
    Region.objects.select_for_update().get(id=region.id)
    _check_change(closures_ahead_of_region(region.id, from_on), from_on, closed=closed)
    return RegionClosure.objects.create(region=region, closed=closed, from_on=from_on, set_by=by, set_at=now)


def _check_day(from_on: date, today: date) -> None:
    if not today <= from_on <= today + FURTHEST:
        raise ClosureDayWrong(pointer="/from_on", today=today)


def _check_change(ahead: list[Closure], from_on: date, *, closed: bool) -> None:
    """Refuse what changes nothing: closing what stays closed from that day on, opening what is open all along."""
    shut_for_good = any(each.from_on <= from_on and each.open_from is None for each in ahead)
    if closed and shut_for_good:
        raise ClosedAlready(pointer="/from_on")
    if not closed and not ahead:
        raise NotClosed(pointer="/from_on")
