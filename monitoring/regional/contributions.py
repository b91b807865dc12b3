"""What each holding contributes to its region's week: its counts as they stood at the cut-off, nothing that came later.

A contributor is a holding: the mean over its farms that counted. A farm without a count is left out, never zero.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import Any
from uuid import UUID

import numpy as np

from farms.lookups import array_of
from monitoring.analysis.own_normal import START, WEEKS_BACK, log_ratios
from monitoring.analysis.regional_growth import RegionalGrowth, own_growth, regional_growth
from monitoring.analysis.shapes import Bools, Floats
from monitoring.analysis.trend import TREND_WEEKS
from monitoring.models import Contribution, WeeklySummary
from monitoring.regional.cohort import Members

WEEK = timedelta(days=7)


@dataclass(frozen=True)
class Contributors:
    """A region's week by one method; arrays are (n,), a place for each holding that counted, as in `holdings`.

    `values` are in the method's unit, `ratios` logs over the own normal, `own_growth` log growth a week, `rising` 0 or
    1 (NaN: not known). `logs` (n, n_weeks) are the logs of the last weeks, None where the values were frozen before and
    are only read again. `farm_means` are the farms behind the values.
    """

    holdings: Sequence[UUID]
    values: Floats
    ratios: Floats
    own_growth: Floats
    rising: Floats
    logs: Floats | None
    farm_means: Mapping[UUID, float]
    frozen_at: datetime

    @property
    def frozen_before(self) -> bool:
        return self.logs is None

    def growth_of(self, some: Bools) -> RegionalGrowth | None:
        """The mean growth of some of them; None where it can't be told any more."""
        return None if self.logs is None else regional_growth(self.logs[some], _dates(self.logs))

    @cached_property
    def places(self) -> dict[UUID, int]:
        return {holding: place for place, holding in enumerate(self.holdings)}


def contributors_of(
    members: Members, week: date, levels: Mapping[str, float], *, now: datetime, using: str
) -> dict[str, Contributors]:
    """The contributors of each method: as frozen before where they are, else as the summaries are now."""
    frozen = _frozen(members, week, using)
    missing = [method for method in levels if method not in frozen]
    return frozen | (_from_summaries(members, week, {m: levels[m] for m in missing}, now, using) if missing else {})


def rows_of(
    contributors: Contributors, members: Members, parts: Mapping[UUID, str], thirds: Mapping[UUID, int], **common: Any
) -> list[Contribution]:
    """The rows that freeze what the farms contributed, each with its holding's third where one was told."""
    rows = []
    for farm, mean in contributors.farm_means.items():
        holding = members[farm]
        place = contributors.places[holding]
        rising = _known(contributors.rising[place])
        row = Contribution(
            farm_id=farm, holding_id=holding, mean=mean, part=parts.get(farm, ""), third=thirds.get(holding),
            ratio=_known(contributors.ratios[place]), growth=_known(contributors.own_growth[place]),
            rising=None if rising is None else rising > 0, frozen_at=contributors.frozen_at, **common,
        )  # fmt: skip
        rows.append(row)
    return rows


def watching(contributors: Contributors, members: Members, seen: Sequence[Sequence[UUID]]) -> list[Bools]:
    """For each person who may see several farms, which contributors they see any farm of."""
    found = []
    for farms in seen:
        marks = np.zeros(len(contributors.holdings), bool)
        for farm in farms:
            place = contributors.places.get(members[farm]) if farm in members else None
            if place is not None:
                marks[place] = True
        if marks.any():
            found.append(marks)
    return found


def _frozen(members: Members, week: date, using: str) -> dict[str, Contributors]:
    rows: dict[str, list[Contribution]] = {}
    stored = Contribution.objects.using(using).filter(farm_id__any_of=array_of(members), week=week)
    for row in stored.order_by("farm_id"):
        rows.setdefault(row.method, []).append(row)
    return {method: _read_again(some) for method, some in rows.items()}


def _read_again(rows: list[Contribution]) -> Contributors:
    first = {row.holding_id: row for row in rows}
    holdings = sorted(first)
    means = [float(np.mean([row.mean for row in rows if row.holding_id == holding])) for holding in holdings]
    ratios, growth, rising = (
        np.array([_or_nan(getattr(first[holding], name)) for holding in holdings])
        for name in ("ratio", "growth", "rising")
    )
    farms = {row.farm_id: row.mean for row in rows}
    return Contributors(holdings, np.array(means), ratios, growth, rising, None, farms, rows[0].frozen_at)


def _from_summaries(
    members: Members, week: date, levels: Mapping[str, float], now: datetime, using: str
) -> dict[str, Contributors]:
    first = week - WEEKS_BACK * WEEK
    read = WeeklySummary.objects.using(using).filter(
        farm_id__any_of=array_of(members), week__gte=first, week__lte=week, mean__isnull=False
    )
    farms = {farm: place for place, farm in enumerate(sorted(members))}
    weeks = {method: np.full((len(farms), WEEKS_BACK + 1), np.nan) for method in levels}
    for method, farm, monday, mean in read.values_list("method", "farm_id", "week", "mean").iterator(50_000):
        if method in weeks:
            weeks[method][farms[farm], (monday - first).days // 7] = mean
    return {method: _weighed(members, farms, weeks[method], levels[method], now) for method in levels}


def _weighed(members: Members, farms: Mapping[UUID, int], weeks: Floats, level: float, now: datetime) -> Contributors:
    """From (n_farms, n_weeks) means to contributors; the newest week last."""
    counted = [farm for farm, place in farms.items() if not np.isnan(weeks[place, -1])]
    holdings = sorted({members[farm] for farm in counted})
    place_of = {holding: place for place, holding in enumerate(holdings)}
    of_farm = np.array([place_of.get(members[farm], -1) for farm in farms], dtype=np.int64)
    means = _by_holding(weeks, of_farm, len(holdings))
    logs = np.log(means + START * level)[:, -TREND_WEEKS:]
    own, rising = own_growth(logs, _dates(logs))
    return Contributors(
        holdings,
        means[:, -1],
        log_ratios(means[:, -1], means[:, :-1], level),
        own,
        np.where(np.isnan(own), np.nan, rising),
        logs,
        {farm: float(weeks[farms[farm], -1]) for farm in counted},
        now,
    )


def _by_holding(weeks: Floats, of_farm: Any, holdings: int) -> Floats:
    """The mean over each holding's farms that counted in a week, (n_holdings, n_weeks)."""
    there = ~np.isnan(weeks)
    sums, number = np.zeros((holdings, weeks.shape[1])), np.zeros((holdings, weeks.shape[1]))
    ours = of_farm >= 0
    np.add.at(sums, of_farm[ours], np.where(there, weeks, 0.0)[ours])
    np.add.at(number, of_farm[ours], there[ours])
    return np.where(number > 0, sums / np.maximum(number, 1), np.nan)


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _or_nan(value: float | None) -> float:
    return np.nan if value is None else float(value)


def _dates(logs: Floats) -> Floats:
    """The days of weeks that follow each other."""
    return np.arange(logs.shape[1], dtype=np.float64) * 7.0
