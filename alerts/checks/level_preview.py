"""What an action level would have meant: the alerts that the last season would have had with another value."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from alerts.checks.rules.over import Week, episodes
from alerts.models import Assessment
from alerts.models.assessment import LevelWord
from alerts.selectors.results import latest
from farms.clock import monday_of
from farms.errors import Missing
from farms.selectors import seasons_of
from monitoring.methods import METHODS

if TYPE_CHECKING:
    from farms.models import Facility, Farm, Season


class NothingToPreview(Missing):
    code = "nothing_to_preview"
    message = _("No week of a season has been judged here yet, so there is nothing to try a level on.")


@dataclass(frozen=True)
class Episode:
    """An alert over the level that would have been: its weeks (Mondays) and its highest mean."""

    opened_week: date
    closed_week: date | None
    highest: float


@dataclass(frozen=True)
class LevelPreview:
    """The last season by another level (`alerts`), and by those that applied then (`alerts_now`)."""

    opens_on: date
    closes_on: date | None
    weeks_counted: int
    alerts: Sequence[Episode]
    alerts_now: Sequence[Episode]


def level_preview(
    farm: "Farm", *, method: str, value: float, facility: "Facility | None", today: date
) -> LevelPreview | None:
    """Try a level on the newest season that has results; one that has ended comes before the one that runs.

    None where there is no result. By the usual numbers of the rule, whatever the group's are.
    """
    ended = [season for season in seasons_of(farm) if season.closes_on is not None and season.closes_on < today]
    others = [season for season in seasons_of(farm) if season not in ended]
    for season in [*ended, *others]:
        rows = [row for row in _results(farm, season, method, facility) if row.mean is not None]
        if rows:
            return LevelPreview(
                opens_on=season.opens_on, closes_on=season.closes_on, weeks_counted=len(rows),
                alerts=_episodes(rows, [value] * len(rows)), alerts_now=_episodes(rows, [row.level for row in rows]),
            )  # fmt: skip
    return None


def _results(farm: "Farm", season: "Season", method: str, facility: "Facility | None") -> QuerySet[Assessment]:
    rows = Assessment.objects.filter(farm_id=farm.id, method=method, week__gte=monday_of(season.opens_on))
    rows = rows.filter(facility_id=facility.id) if facility else rows.filter(facility_id__isnull=True)
    return latest(rows.filter(week__lte=season.closes_on) if season.closes_on else rows)


def _episodes(rows: Sequence[Assessment], levels: Sequence[float | None]) -> list[Episode]:
    weeks = [_week(row, level) for row, level in zip(rows, levels, strict=True)]
    by_week = [(row.week - rows[0].week).days // 7 for row in rows]
    found = episodes(weeks, at=by_week)
    return [
        Episode(
            opened_week=rows[first].week,
            closed_week=rows[last].week if last is not None else None,
            highest=max(row.mean or 0.0 for row in rows[first : None if last is None else last + 1]),
        )
        for first, last in found
    ]


def _week(row: Assessment, level: float | None) -> Week:
    """A week against a level; at the very boundary as the stored result says, where that is the level it went by."""
    if row.mean is None or level is None:
        return Week(LevelWord.NONE, None)
    if level == row.level:
        return Week(row.result, row.mean / level, row.at_least)
    reached = row.mean >= level if METHODS[row.method].comparison == "at_least" else row.mean > level
    return Week(LevelWord.OVER if reached else LevelWord.BELOW, row.mean / level, row.at_least)
