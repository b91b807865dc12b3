"""The two stages of the trend by statsmodels, one farm at a time: the reference of tests and bench.

statsmodels is a general-purpose library: GLM with the Poisson family and a log link (iteratively reweighted least
squares), then OLS with its t interval. What is done before the fit (stations without a catch, a week of zeros) follows
the words in monitoring/analysis/week_effects.py and is written here again, cell by cell.
"""

import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np
import statsmodels.api as sm


@dataclass(frozen=True)
class ByStatsmodels:
    """One farm's results: week effects with mean zero (NaN = no week), the line's slope a week, error, p, interval."""

    effects: np.ndarray[Any, Any]
    slope: float
    error: float
    p_value: float
    low: float
    high: float


def prepared(counts: np.ndarray[Any, Any], days: np.ndarray[Any, Any]) -> list[tuple[int, int, float, float]]:
    """One farm's (stations, weeks) as rows of station, week, count, days, ready for the fit."""
    cells = [(i, t) for i, t in np.ndindex(counts.shape) if not np.isnan(counts[i, t])]
    caught = {i for i, t in cells if counts[i, t] > 0}
    cells = [(i, t) for i, t in cells if i in caught]
    rows = []
    for i, t in cells:
        week = [j for j, s in cells if s == t]
        empty = all(counts[j, t] == 0 for j in week)
        extra = 0.5 * days[i, t] / sum(days[j, t] for j in week) if empty else 0.0
        rows.append((i, t, float(counts[i, t] + extra), float(days[i, t])))
    return rows


def week_effects(rows: list[tuple[int, int, float, float]], **options: Any) -> dict[int, float]:
    """Stage one: Poisson GLM with a factor for station, one for week, and log days as offset."""
    stations, weeks = sorted({row[0] for row in rows}), sorted({row[1] for row in rows})
    design = np.zeros((len(rows), len(stations) + len(weeks) - 1))
    for n, (i, t, _, _) in enumerate(rows):
        design[n, stations.index(i)] = 1
        if t != weeks[0]:
            design[n, len(stations) + weeks.index(t) - 1] = 1
    count, days = np.array([row[2] for row in rows]), np.array([row[3] for row in rows])
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        # A half count is no whole number, which statsmodels remarks upon only in its standard errors.
        warnings.simplefilter("ignore")
        fit = sm.GLM(count, design, family=sm.families.Poisson(), offset=np.log(days)).fit(**options)
    effects = np.append(0.0, fit.params[len(stations) :])
    return dict(zip(weeks, effects - effects.mean(), strict=True))


def trend(
    counts: np.ndarray[Any, Any], days: np.ndarray[Any, Any], dates: np.ndarray[Any, Any], **options: Any
) -> ByStatsmodels:
    """Both stages for one farm, dates in days."""
    by_week = week_effects(prepared(counts, days), **options)
    weeks = np.array(list(by_week))
    line = sm.OLS(np.array(list(by_week.values())), sm.add_constant(dates[weeks] / 7.0)).fit()
    effects = np.full(counts.shape[1], np.nan)
    effects[weeks] = list(by_week.values())
    low, high = line.conf_int()[1]
    return ByStatsmodels(effects, line.params[1], line.bse[1], line.pvalues[1], low, high)


TIGHT = {"tol": 1e-14, "tol_criterion": "params", "maxiter": 200}
