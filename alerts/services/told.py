"""An adviser told a farm its week, by letter, by a call, in person; and that it was noted by mistake."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from alerts.models import Told
from alerts.models.told import ToldHow
from alerts.selectors.alerts import open_alerts
from alerts.selectors.told import told_of_farms
from alerts.services.alert import mark_seen
from farms.access import ADVISER, actor_on, role_on
from farms.clock import local_date, monday_of
from farms.errors import Conflict, Forbidden, Invalid
from farms.ledger import append, lock_heads, next_number, row_hash, row_values

if TYPE_CHECKING:
    from farms.models import Farm, LedgerHead, User

# A week's Sunday: in the farm's zone the group's Monday may not have come yet.
LAST_DAY = timedelta(days=6)


class ToldDayWrong(Invalid):
    code = "told_day_wrong"
    message = _("A week is told when it is over. Choose a day from {first:%Y-%m-%d} to today.")


class ToldHowUnknown(Invalid):
    code = "told_how_unknown"
    message = _("Choose letter, call, in_person or text.")


class NotTold(Conflict):
    code = "not_told"
    message = _("This week isn't noted as told. Load the page again to see how it stands now.")


@dataclass(frozen=True)
class Telling:
    """Which week (any of its days) was told, how and when."""

    week: date
    how: str
    told_on: date


@transaction.atomic
def mark_told(*, farm: "Farm", telling: Telling, by: "User", now: datetime) -> Told:
    """Note that a farm was told its week, which counts as seen for what opened up to it; for its advisers.

    Raises Forbidden, ToldHowUnknown or ToldDayWrong.
    """
    week = monday_of(telling.week)
    _check(telling, week, local_date(now, farm.time_zone))
    head = _lock_as_adviser(farm, by)
    row = Told(farm=farm, week=week, how=telling.how, told_on=telling.told_on, by=by, at=now)
    told = _add(head, row, kind="told")
    # What opened with a later week was not told with this one: it may still have to go to the adviser.
    opened = open_alerts(farm).annotate(since_week=Coalesce("reopened_week", "opened_week"))
    for alert in opened.filter(since_week__lte=week):
        mark_seen(alert=alert, actor=actor_on(by, farm.id), now=now)
    return told


@transaction.atomic
def take_back_told(*, farm: "Farm", week: date, by: "User", now: datetime) -> Told:
    """Note that the week was not told after all; what was seen stays seen. Raises Forbidden or NotTold."""
    head = _lock_as_adviser(farm, by)
    before = told_of_farms([farm.id], monday_of(week)).get(farm.id)
    if before is None:
        raise NotTold()
    row = Told(farm=farm, week=before.week, how=before.how, told_on=before.told_on, undone=True, by=by, at=now)
    return _add(head, row, kind="told_taken_back")


def _lock_as_adviser(farm: "Farm", by: "User") -> "LedgerHead":
    if role_on(by, farm.id) is not ADVISER:
        raise Forbidden()
    return lock_heads([farm.id])[farm.id]


def _add(head: "LedgerHead", row: Told, *, kind: str) -> Told:
    row.entry = next_number(head)
    Told.objects.bulk_create([row])
    hashes = [row_hash(row._meta.db_table, row_values(row))]
    append(head, kind=kind, actor=actor_on(row.by, row.farm_id), row_hashes=hashes, now=row.at)
    return row


def _check(telling: Telling, week: date, today: date) -> None:
    if telling.how not in ToldHow.values:
        raise ToldHowUnknown(pointer="/how")
    if not week + LAST_DAY <= telling.told_on <= today:
        raise ToldDayWrong(pointer="/told_on", first=week + LAST_DAY)
