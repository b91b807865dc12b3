"""Setting action levels. Rows are only added: what was judged keeps the level of its time."""

import math
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from alerts.levels import Level, unit_of
from alerts.models import FarmLevel, GroupLevel
from alerts.selectors.levels import levels_of, levels_of_group
from farms.access import actor_on
from farms.clock import local_date
from farms.errors import Conflict, Invalid
from farms.ledger import append, lock_heads, next_number, row_hash, row_values
from monitoring.methods import METHODS

if TYPE_CHECKING:
    from farms.models import Facility, Farm, Group, User


class MethodUnknown(Invalid):
    code = "method_unknown"
    message = _("There is no such method. Choose card, trap or leg.")


class LevelNotAboveZero(Invalid):
    code = "level_not_above_zero"
    message = _("An action level is a number above 0. Send the number from which you want to act.")


class LevelWithoutReason(Invalid):
    code = "level_without_reason"
    message = _("Say in a few words why the action level changes: whoever reads it later needs to know.")


class LevelFromThePast(Invalid):
    code = "level_from_the_past"
    message = _(
        "An action level can't begin before today, {today:%Y-%m-%d}: weeks already judged keep the level of then. "
        "Choose today or a later day."
    )


class NothingToTakeBack(Conflict):
    code = "nothing_to_take_back"
    message = _("There is no level of its own here on {day:%Y-%m-%d}: the usual one applies already.")


@dataclass(frozen=True)
class TakenBack:
    """Which of a farm's own levels ends, from when and why."""

    method: str
    reason: str
    valid_from: date
    facility: "Facility | None" = None


@dataclass(frozen=True)
class NewLevel:
    """An action level as somebody sets it, in the method's unit, from a day on. `facility` None: for the whole farm."""

    method: str
    value: float
    reason: str
    valid_from: date
    facility: "Facility | None" = None
    taken_back: bool = False


@transaction.atomic
def set_group_level(*, group: "Group", level: NewLevel, by: "User", now: datetime) -> GroupLevel:
    """Give the whole group an action level. The entry point lets coordinators in only."""
    _check(level, local_date(now, group.time_zone))
    return GroupLevel.objects.create(group=group, set_by=by, set_at=now, **_columns(level))


@transaction.atomic
def take_group_level_back(
    *, group: "Group", method: str, reason: str, valid_from: date, by: "User", now: datetime
) -> GroupLevel:
    """Let the trade's usual level apply again in a group from a day on. Raises NothingToTakeBack."""
    own = levels_of_group(group.id, valid_from).get(method)
    return set_group_level(group=group, level=_ending(own, method, reason, valid_from), by=by, now=now)


@transaction.atomic
def take_farm_level_back(*, farm: "Farm", place: "TakenBack", by: "User", now: datetime) -> FarmLevel:
    """Let the usual level apply again on a farm or in a facility from a day on. Raises NothingToTakeBack."""
    facility_id = place.facility.id if place.facility else None
    own = levels_of(farm, place.valid_from).own.get((facility_id, place.method))
    level = replace(_ending(own, place.method, place.reason, place.valid_from), facility=place.facility)
    return set_farm_level(farm=farm, level=level, by=by, now=now)


def _ending(own: Level | None, method: str, reason: str, valid_from: date) -> NewLevel:
    if own is None or own.value is None:
        raise NothingToTakeBack(day=valid_from)
    return NewLevel(method, own.value, reason, valid_from, taken_back=True)


@transaction.atomic
def set_farm_level(*, farm: "Farm", level: NewLevel, by: "User", now: datetime) -> FarmLevel:
    """Give a farm, or one of its facilities, an action level of its own; an entry of the farm's chain."""
    _check(level, local_date(now, farm.time_zone))
    head = lock_heads([farm.id])[farm.id]
    facility_id = level.facility.id if level.facility else None
    made = FarmLevel.objects.create(
        farm=farm, facility_id=facility_id, set_by=by, set_at=now, entry=next_number(head), **_columns(level)
    )
    hashes = [row_hash(made._meta.db_table, row_values(made))]
    append(head, kind="action_level", actor=actor_on(by, farm.id), row_hashes=hashes, now=now)
    return made


def _columns(level: NewLevel) -> dict[str, Any]:
    return {
        "method": level.method,
        "value": level.value,
        "unit": unit_of(level.method),
        "valid_from": level.valid_from,
        "reason": level.reason.strip(),
        "taken_back": level.taken_back or None,
    }


def _check(level: NewLevel, today: date) -> None:
    if level.method not in METHODS:
        raise MethodUnknown(pointer="/method")
    if not (level.value > 0 and math.isfinite(level.value)):
        raise LevelNotAboveZero(pointer="/value")
    if not level.reason.strip():
        raise LevelWithoutReason(pointer="/reason")
    if level.valid_from < today:
        raise LevelFromThePast(pointer="/valid_from", today=today)
