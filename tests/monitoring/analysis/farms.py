"""Made-up readings for the tests of the scientific core."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from monitoring.analysis.rates import Readings, StationWeeks, station_weeks

FIRST = np.datetime64("2026-06-01", "D")


def readings(rows: Sequence[tuple[int, int, float, float]], **columns: Any) -> Readings:
    """Rows of station, week, count, days (NaN count = none); other columns by name, else plain counts."""
    station, week, count, days = (np.array(column) for column in zip(*rows, strict=True))
    n = len(rows)
    return Readings(
        station=station.astype(np.int64),
        week=week.astype(np.int64),
        middle=np.asarray(columns.get("middle", FIRST + 7 * week.astype(np.int64) + 3), "M8[D]"),
        count=count.astype(np.float64),
        part=np.array(columns.get("part", np.ones(n)), np.float64),
        exposure=days.astype(np.float64),
        at_least=np.array(columns.get("at_least", np.zeros(n)), bool),
        how=np.array(columns.get("how", ["counted"] * n)),
    )


def grid(counts: Any, days: float = 7.0, *, per: float = 7.0, **columns: Any) -> StationWeeks:
    """One reading a station and week from a table of counts (stations, weeks); NaN = a card without a count."""
    table = np.array(counts, np.float64)
    rows = [(i, t, table[i, t], days) for i in range(table.shape[0]) for t in range(table.shape[1])]
    return station_weeks(readings(rows, **columns), n_stations=table.shape[0], n_weeks=table.shape[1], per=per)


def owned_by_one(weeks: StationWeeks) -> Any:
    """Give all stations of a grid to owner 0."""
    return np.zeros(weeks.rate.shape[0], np.int64)
