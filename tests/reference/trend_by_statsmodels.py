"""The two stages of the trend by statsmodels, one farm at a time: the reference of tests and bench.

statsmodels is a general-purpose library: GLM with the negative-binomial family (Poisson where k is infinite) and a log
link by iteratively reweighted least squares, then GLS of the week effects on the date with their covariance. What is
done before the fit (stations without a catch, a week of zeros) follows the words in monitoring/analysis/week_effects.py
and is written here again, cell by cell; so is the covariance of weeks in the words of correlated_weeks.py.
"""

import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np
import statsmodels.api as sm
from scipy import stats

from monitoring.analysis.correlated_weeks import ALONE, WeekScatter
from monitoring.analysis.farm_weeks import farm_weeks_from
from monitoring.analysis.trend import fit_trends

# statsmodels stops at a change in deviance of 1e-8 unless told otherwise; for comparing digits it must go on.
TIGHT = {"tol": 1e-14, "tol_criterion": "params", "maxiter": 300}

Array = np.ndarray[Any, Any]


@dataclass(frozen=True)
class Weeks:
    """One farm's weeks by the GLM: which they are, log effects with mean zero, and what counting makes of them.

    `stations` gives each station's log catch a day in a week of effect zero.
    """

    weeks: list[int]
    effects: Array
    noise: Array
    stations: dict[int, float]


@dataclass(frozen=True)
class Line:
    """One farm's line: growth a week, its error, p, and the ends of the 95 % interval."""

    slope: float
    error: float
    p_value: float
    low: float
    high: float


def prepared(counts: Array, days: Array) -> list[tuple[int, int, float, float]]:
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
    """One farm's numbers as statsmodels takes them: count, log days, 0/1 columns for stations and all weeks but one.

    `cells` are the station and week of each row.
    """

    count: Array
    log_days: Array
    columns: Array
    stations: list[int]
    weeks: list[int]
    cells: list[tuple[int, int]]


def design(rows: list[tuple[int, int, float, float]]) -> Design:
    """Make the columns of one farm."""
    stations, weeks = sorted({row[0] for row in rows}), sorted({row[1] for row in rows})
    columns = np.zeros((len(rows), len(stations) + len(weeks) - 1))
    for n, (i, t, _, _) in enumerate(rows):
        columns[n, stations.index(i)] = 1
        if t != weeks[0]:
            columns[n, len(stations) + weeks.index(t) - 1] = 1
    count, days = np.array([row[2] for row in rows]), np.array([row[3] for row in rows])
    return Design(count, np.log(days), columns, stations, weeks, [(row[0], row[1]) for row in rows])


def family(k: Any) -> Any:
    """Give the family of variance m + m^2/k; k may be a number a row."""
    if np.isinf(k).all():
        return sm.families.Poisson()
    return sm.families.NegativeBinomial(alpha=1 / np.asarray(k))


def glm(design: Design, k: Any, **options: Any) -> Any:
    """The fit of station, week and log days."""
    model = sm.GLM(design.count, design.columns, family=family(k), offset=design.log_days)
    with np.errstate(all="ignore"):
        return model.fit(**options)


def weeks_of(design: Design, fit: Any) -> Weeks:
    """Give the effects with mean zero, and their covariance from the fit's own information."""
    first, many = len(design.stations), len(design.weeks)
    effects = np.append(0.0, fit.params[first:])
    covariance = np.zeros((many, many))
    covariance[1:, 1:] = fit.cov_params()[first:, first:]
    centre = np.eye(many) - 1 / many
    level = effects.mean()
    stations = {
        each: float(log_rate + level) for each, log_rate in zip(design.stations, fit.params[:first], strict=True)
    }
    return Weeks(design.weeks, effects - level, centre @ covariance @ centre, stations)


def information_cell_by_cell(design: Design, fit: Any, k: float) -> Array:
    """Add up the expected information m/(1 + m/k) of each count, by station and week of the design."""
    size = design.columns.shape[1]
    information = np.zeros((size, size))
    for row, mean in zip(design.columns, fit.fittedvalues, strict=True):
        places = np.flatnonzero(row)
        for one in places:
            for other in places:
                information[one, other] += mean / (1 + mean / k)
    return information


def covariance(weeks: Weeks, when: Array, scatter: WeekScatter) -> Array:
    """Shock^2 stays^|t - s| + counting x noise, one pair of weeks at a time."""
    together = np.zeros((len(when), len(when)))
    for t, s in np.ndindex(together.shape):
        lasting = 1.0 if t == s else scatter.stays ** abs(when[t] - when[s])
        together[t, s] = scatter.shock**2 * lasting + scatter.counting * weeks.noise[t, s] + (1e-9 if t == s else 0)
    return together


def gls(weeks: Weeks, dates: Array, scatter: WeekScatter) -> tuple[Any, Array]:
    """The line through the weeks with its 95 % interval, own scale, t on weeks - 2."""
    when = dates[weeks.weeks] / 7.0
    fit = sm.GLS(weeks.effects, sm.add_constant(when), sigma=covariance(weeks, when, scatter)).fit()
    return fit, fit.conf_int()


def both_stages(design: Design, dates: Array, k: float, scatter: WeekScatter, **options: Any) -> tuple[Weeks, Any, Any]:
    """The week effects by a negative-binomial GLM, then the line through them by GLS, with its interval."""
    weeks = weeks_of(design, glm(design, k, **options))
    return weeks, *gls(weeks, dates, scatter)


def line(fit: Any, interval: Array, worth: float) -> Line:
    """Give the line's figures; a network's scale of 1 stands beside its own with `worth` degrees of freedom."""
    slope = fit.params[1]
    if worth == 0:
        return Line(slope, fit.bse[1], fit.pvalues[1], *interval[1])
    degrees = fit.df_resid + worth
    error = np.sqrt((fit.ssr + worth) / degrees * fit.normalized_cov_params[1, 1])
    student = stats.t(degrees)
    return Line(slope, error, 2 * student.sf(abs(slope) / error), *(slope + error * np.array(student.interval(0.95))))


def trend(counts: Array, days: Array, dates: Array, *, k: float, scatter: WeekScatter) -> tuple[Weeks, Line]:
    """Both stages for one farm, dates in days, to the last digits."""
    with warnings.catch_warnings():
        # One station has as many parameters as weeks, so the fit is perfect, which statsmodels remarks upon.
        warnings.simplefilter("ignore")
        weeks, fit, interval = both_stages(design(prepared(counts, days)), dates, k, scatter, **TIGHT)
    return weeks, line(fit, interval, scatter.degrees_of_an_interval)


def largest_difference(
    counts: Array, days: Array, dates: Array, *, k: float = 1.5, scatter: WeekScatter = ALONE
) -> tuple[float, int]:
    """The largest difference to our fit in effects, their covariance, slope, error, p and interval; farms fitted."""
    ours = farm_weeks_from(counts, days, dates, k)
    trends = fit_trends(ours, scatter)
    ends, worst, fitted = trends.interval(), 0.0, np.flatnonzero(ours.told)
    for farm in fitted:
        weeks, theirs = trend(counts[farm], days[farm], dates, k=k, scatter=scatter)
        assert np.flatnonzero(ours.used[farm]).tolist() == weeks.weeks
        mine = [trends.slope, trends.standard_error, trends.p_value, ends.low, ends.high]
        line = [theirs.slope, theirs.error, theirs.p_value, theirs.low, theirs.high]
        block = np.ix_(weeks.weeks, weeks.weeks)
        worst = max(
            worst,
            float(np.abs(ours.effects[farm][weeks.weeks] - weeks.effects).max()),
            float(np.abs(ours.noise[farm][block] - weeks.noise).max()),
            float(np.abs(np.array([each[farm] for each in mine]) - line).max()),
        )
    return worst, len(fitted)
