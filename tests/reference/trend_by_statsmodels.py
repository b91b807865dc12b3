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

from monitoring.analysis.trend import fit_trends

# statsmodels stops at a change in deviance of 1e-8 unless told otherwise; for comparing digits it must go on.
TIGHT = {"tol": 1e-14, "tol_criterion": "params", "maxiter": 200}


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


@dataclass(frozen=True)
class Design:
    """One farm's numbers as statsmodels takes them: count, log days, 0/1 columns for stations and all weeks but one."""

    count: np.ndarray[Any, Any]
    log_days: np.ndarray[Any, Any]
    columns: np.ndarray[Any, Any]
    stations: int
    weeks: list[int]


def design(rows: list[tuple[int, int, float, float]]) -> Design:
    """Make the columns of one farm."""
    stations, weeks = sorted({row[0] for row in rows}), sorted({row[1] for row in rows})
    columns = np.zeros((len(rows), len(stations) + len(weeks) - 1))
    for n, (i, t, _, _) in enumerate(rows):
        columns[n, stations.index(i)] = 1
        if t != weeks[0]:
            columns[n, len(stations) + weeks.index(t) - 1] = 1
    count, days = np.array([row[2] for row in rows]), np.array([row[3] for row in rows])
    return Design(count, np.log(days), columns, len(stations), weeks)


def both_stages(design: Design, dates: np.ndarray[Any, Any], **options: Any) -> tuple[np.ndarray[Any, Any], Any, Any]:
    """Poisson GLM with station, week and log days; then OLS of the week effects on the date, with its interval."""
    model = sm.GLM(design.count, design.columns, family=sm.families.Poisson(), offset=design.log_days)
    with np.errstate(all="ignore"):
        fit = model.fit(**options)
    effects = np.append(0.0, fit.params[design.stations :])
    line = sm.OLS(effects, sm.add_constant(dates[design.weeks] / 7.0)).fit()
    return effects - effects.mean(), line, line.conf_int()


def trend(
    counts: np.ndarray[Any, Any], days: np.ndarray[Any, Any], dates: np.ndarray[Any, Any], **options: Any
) -> ByStatsmodels:
    """Both stages for one farm, dates in days."""
    one = design(prepared(counts, days))
    with warnings.catch_warnings():
        # One station has as many parameters as weeks, so the fit is perfect, which statsmodels remarks upon.
        warnings.simplefilter("ignore")
        fitted, line, interval = both_stages(one, dates, **options)
    effects = np.full(counts.shape[1], np.nan)
    effects[one.weeks] = fitted
    return ByStatsmodels(effects, line.params[1], line.bse[1], line.pvalues[1], *interval[1])


def largest_difference(
    counts: np.ndarray[Any, Any], days: np.ndarray[Any, Any], dates: np.ndarray[Any, Any]
) -> tuple[float, int]:
    """The largest difference to our fit in effects, slope, error, p and interval, and how many farms were fitted."""
    ours = fit_trends(counts, days, dates)
    ends, worst, fitted = ours.interval(), 0.0, np.flatnonzero(ours.reason == "")
    for farm in fitted:
        theirs = trend(counts[farm], days[farm], dates, **TIGHT)
        np.testing.assert_array_equal(np.isnan(ours.week_effects[farm]), np.isnan(theirs.effects))
        worst = max(
            worst,
            float(np.nanmax(np.abs(ours.week_effects[farm] - theirs.effects))),
            abs(ours.slope[farm] - theirs.slope),
            abs(ours.standard_error[farm] - theirs.error),
            abs(ours.p_value[farm] - theirs.p_value),
            abs(ends.low[farm] - theirs.low),
            abs(ends.high[farm] - theirs.high),
        )
    return worst, len(fitted)
