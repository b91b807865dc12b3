"""Judging one week of many farms at once; a farm that can't be judged is set aside with its error."""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import InterfaceError, OperationalError, transaction

from alerts.checks.claims import hold_group
from alerts.checks.drafts import changed, drafts_of
from alerts.checks.failures import set_aside
from alerts.checks.grid import Grid, first_week_of_window
from alerts.checks.life import KnownWeek, by_farm, changes_of
from alerts.checks.names import Compared
from alerts.checks.occasion import Occasion
from alerts.checks.outlook import weeks_by_method
from alerts.checks.store import store_changes, store_results
from alerts.models import Alert, Assessment, CheckFailure
from alerts.selectors.results import assessments_of_farms
from alerts.selectors.rounds import seasons_by_farm, walks_of_farms
from monitoring.arrays import readings_for_check

if TYPE_CHECKING:
    from farms.models import Farm

# About as many farms as stay in the processor's cache (design.md, decision 7).
CHUNK = 500
Farms = Sequence["Farm"]


def judge(farms: Farms, occasion: Occasion, compared: Compared | None = None) -> set[UUID]:
    """Judge a week of these farms. Returns the farms that could not be judged; each has its CheckFailure.

    `compared` gathers the weeks of those that could, for the group's list.
    """
    failed: set[UUID] = set()
    for start in range(0, len(farms), CHUNK):
        failed |= _judge_or_halve(farms[start : start + CHUNK], occasion, compared)
    return failed


def _judge_or_halve(farms: Farms, occasion: Occasion, compared: Compared | None) -> set[UUID]:
    """Judge together; where that fails, by halves, until the farm that is at fault stands alone."""
    try:
        with transaction.atomic():
            _judge_together(farms, occasion, compared)
    except (OperationalError, InterfaceError):
        raise  # the database, not a farm
    except Exception as error:  # noqa: BLE001  whatever is wrong with one farm never stops the others
        if len(farms) == 1:
            set_aside(farms[0], occasion.week, error, occasion.now)
            return {farms[0].id}
        half = len(farms) // 2
        parts = (farms[:half], farms[half:])
        return set().union(*(_judge_or_halve(part, occasion, compared) for part in parts))
    return set()


def _judge_together(farms: Farms, occasion: Occasion, compared: Compared | None) -> None:
    """One read, one analysis, one write. All within a transaction."""
    hold_group(occasion.group.id)
    farm_ids = [farm.id for farm in farms]
    counting = _in_season(farm_ids, occasion)
    arrays = readings_for_check(counting, first_week_of_window(occasion.week), occasion.week)
    grid = Grid(arrays, occasion.week)
    owners = grid.farm_owners()
    seen = weeks_by_method(grid, owners, occasion.borrowed)
    drafts = drafts_of(grid, occasion, owners, seen)
    stored = assessments_of_farms(counting, occasion.week, occasion.week)
    store_results(changed(drafts, stored))
    if occasion.changes_alerts:
        weeks = _known_weeks(farms, drafts, occasion)
        store_changes([change for known in weeks for change in changes_of(known, occasion)], occasion)
    failures = CheckFailure.objects.filter(farm_id__in=farm_ids, week=occasion.week, solved_at__isnull=True)
    failures.update(solved_at=occasion.now)
    if compared is not None:
        compared.add(grid, owners, seen)


def _known_weeks(farms: Farms, drafts: Sequence[Assessment], occasion: Occasion) -> Iterator[KnownWeek]:
    farm_ids, days = [farm.id for farm in farms], {farm.id: occasion.day_on(farm) for farm in farms}
    alerts = by_farm(Alert.objects.filter(farm_id__in=farm_ids, closed_at__isnull=True))
    history = by_farm(_history(alerts, occasion.week))
    # No round can be dated after its farm's own today, so the latest of these days serves all.
    walks, results = walks_of_farms(farm_ids, max(days.values())), by_farm(drafts)
    for farm in farms:
        own = farm.id
        yield KnownWeek(farm, results.get(own, []), history.get(own, []), alerts.get(own, []), walks[own])


def _history(alerts: dict[UUID, list[Alert]], week: date) -> list[Assessment]:
    """The results since the oldest open alert, of the farms that have one."""
    if not alerts:
        return []
    oldest = min(alert.opened_week for own in alerts.values() for alert in own)
    return assessments_of_farms(list(alerts), oldest, week - timedelta(days=7))


def farms_to_judge(farms: Farms, occasion: Occasion) -> list["Farm"]:
    """The farms in season in this week, and those out of season whose alerts are still open."""
    counting = set(_in_season([farm.id for farm in farms], occasion))
    open_alerts = Alert.objects.filter(farm__group_id=occasion.group.id, closed_at__isnull=True)
    with_alerts = set(open_alerts.values_list("farm_id", flat=True))
    return [farm for farm in farms if farm.id in counting | with_alerts]


def _in_season(farm_ids: Sequence[UUID], occasion: Occasion) -> list[UUID]:
    seasons = seasons_by_farm(farm_ids)
    span = occasion.week, occasion.sunday
    return [own for own in farm_ids if any(season.overlaps(*span) for season in seasons[own])]
