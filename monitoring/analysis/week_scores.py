"""How does each week lie beside the farm's weeks before it?"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from monitoring.analysis.correlated_weeks import ALONE, WeekScatter, covariance_of_weeks
from monitoring.analysis.farm_weeks import FarmWeeks, farm_weeks_from
from monitoring.analysis.season_level import WEEKS_NEEDED, SeasonLevel
from monitoring.analysis.shapes import Bools, Floats, Words, refuse, refuse_unlike

# A week is held against up to twelve weeks before it, of which six must have been counted.
WEEKS_BEFORE = 12
# One odd week puts the line of a chart out for one week, however odd it is.
LARGEST_SCORE = 4.0
TINY = 1e-12


@dataclass(frozen=True)
class WeekScores:
    """How each window's newest week lies beside the weeks before it; arrays are (n,), see `score_newest`.

    `score` is standard normal for a farm that stays level, NaN where `reason` is not "". `expected` is the log of the
    mean to be expected, `spread` the standard deviation of the log about it. `by_season`: the time of the year is in
    `expected`. `reason` is "not_counted", "too_few_weeks" (fewer than six weeks before it), or one of
    `farm_weeks.FarmWeeks`.
    """

    score: Floats
    expected: Floats
    spread: Floats
    by_season: Bools
    reason: Words


def score_newest(
    windows: FarmWeeks, scatter: WeekScatter | None = None, season: SeasonLevel | None = None
) -> WeekScores:
    """Hold the newest week of each window against the weeks before it.

    Parameters
    ----------
    windows : FarmWeeks -- (n, 13): a week and the twelve before it; see `windows_from`.
    scatter : WeekScatter -- of the farm's network, from earlier weeks; None for a farm without one.
    season : SeasonLevel -- (n, 13), of the farm's own earlier seasons (`season_from`) or of its group; None = none yet.

    Returns
    -------
    WeekScores

    Notes
    -----
    What the week is expected to be is the best linear prediction from the weeks before it, with an unknown level and
    the network's correlation of weeks and counting noise. The scale is the farm's own, from the same weeks, and nothing
    of the network's: quiet and noisy farms then have the same chance of a false signal. The deviation over its standard
    error, which holds the uncertainty of the level, is a t; the score is the standard normal value of the same
    probability. Scores of weeks one after another are then independent standard normal values however short the past
    is (exactly while the past grows, nearly so once it is twelve weeks that move along), if logs of weeks are Gaussian;
    logs of counts lean a little to the left, so that of false signals about six in ten are below.

    Where the level of the season is known for the newest week and six of those before it, it is taken out of these
    weeks first, and the others are left out; else the farm's own weeks stand alone.

    References
    ----------
    Quesenberry 1991, SPC Q charts for start-up processes and short or long runs, J Qual Technol 23:213-224. Brown,
    Durbin and Evans 1975, Techniques for testing the constancy of regression relationships over time, J R Stat Soc B
    37:149-192 (both from memory).

    Examples
    --------
    >>> counts = np.array([[[40.0, 44, 37, 41, 38, 45, 90]] * 9])
    >>> windows = windows_from(counts, np.full(counts.shape, 7.0), np.arange(7) * 7.0, 1.5)
    >>> found = score_newest(windows)
    >>> found.reason[-2:].tolist(), bool(found.score[-1] > 3)
    (['too_few_weeks', ''], True)
    """
    scatter = scatter if scatter is not None and scatter.borrowed else ALONE
    weeks, by_season, season = _less_season(windows, season)
    reason = _reasons(windows, weeks)
    told = np.flatnonzero(reason == "")
    score, expected, spread = (np.full(len(windows), np.nan) for _ in range(3))
    some = weeks.only(told)
    covariance = covariance_of_weeks(some, scatter) + season.covariance[told]
    score[told], deviation, spread[told] = _innovation(some, covariance)
    expected[told] = some.base + some.effects[:, -1] + season.level[told, -1] - deviation
    return WeekScores(score, expected, spread, by_season & (reason == ""), reason)


def windows_from(
    counts: Floats, days: Floats, dates: ArrayLike, k: ArrayLike, *, back: ArrayLike = 0, length: int = WEEKS_BEFORE + 1
) -> FarmWeeks:
    """Fit each week together with the weeks before it, so that no week is judged by what came later.

    Parameters
    ----------
    counts, days, dates, k : as in `farm_weeks.farm_weeks_from`, (n_farms, n_stations, n_weeks), every week of the
        calendar in its place.
    back : int or (n_windows,) int -- how many weeks before each week its window ends: 0 for `score_newest`; for an
        earlier year one less than `season_level.weeks_to_same_week`, so that it ends a week after the same week. Where
        there are fewer than weeks, they are of the last weeks, and only these have a window.
    length : int -- weeks of a window: 13, or 15 for an earlier year, which `season_from` smooths by three.

    Returns
    -------
    FarmWeeks -- (n_farms x n_windows, length), farm by farm; an only number in `back` stands for all weeks. Weeks
    before the first are missing, never zero.
    """
    counts, days = np.asarray(counts, np.float64), np.asarray(days, np.float64)
    if counts.ndim != 3:
        raise ValueError("counts must have three axes: farms, stations, weeks.")
    refuse_unlike(days, counts.shape, "days")
    n_farms, _, n_weeks = counts.shape
    each_back = np.asarray(back, np.int64)
    each_back = each_back if each_back.ndim else np.full(n_weeks, each_back)
    refuse(each_back < 0, "back", "must be 0 or more weeks")
    n_windows = len(each_back)
    if n_windows > n_weeks:
        raise ValueError("back must not have more entries than there are weeks.")
    if length < 2:
        raise ValueError("length must be 2 or more weeks.")
    each_date = np.broadcast_to(np.asarray(dates, np.float64), (n_farms, n_weeks))
    columns = (np.arange(n_weeks - n_windows, n_weeks) - each_back)[:, None] + np.arange(1 - length, 1)[None, :]

    def rolled(values: Floats) -> Floats:
        found = np.where(columns >= 0, values[..., np.maximum(columns, 0)], np.nan)
        return np.moveaxis(found, -2, 1).reshape(n_farms * n_windows, *values.shape[1:-1], length)

    each_k = rolled(np.broadcast_to(np.asarray(k, np.float64), counts.shape))
    return farm_weeks_from(rolled(counts), rolled(days), rolled(each_date), np.where(np.isnan(each_k), 1.0, each_k))


def _less_season(windows: FarmWeeks, season: SeasonLevel | None) -> tuple[FarmWeeks, Bools, SeasonLevel]:
    """Take the season out where enough of it is known; give what was taken out, zero elsewhere."""
    n, length = windows.effects.shape
    if season is None:
        nothing = SeasonLevel(np.zeros((n, length)), np.zeros((n, length, length)))
        return windows, np.zeros(n, np.bool_), nothing
    refuse_unlike(season.level, (n, length), "season")
    known = windows.used & ~np.isnan(season.level)
    enough = known[:, -1] & (known[:, :-1].sum(axis=1) >= WEEKS_NEEDED)
    keep = known & enough[:, None]
    level = np.where(keep, np.nan_to_num(season.level), 0.0)
    effects = np.where(keep, windows.effects - level, np.where(enough[:, None], np.nan, windows.effects))
    both = keep[:, :, None] & keep[:, None, :]
    return replace(windows, effects=effects), enough, SeasonLevel(level, np.where(both, season.covariance, 0.0))


def _reasons(windows: FarmWeeks, weeks: FarmWeeks) -> Words:
    """Say why a newest week cannot be held against those before it, "" where it can."""
    before, observed = weeks.used[:, :-1].sum(axis=1), (~np.isnan(windows.dates[:, :-1])).sum(axis=1)
    why = [
        np.isnan(windows.dates[:, -1]),
        observed < WEEKS_NEEDED,
        windows.reason != "",
        ~weeks.used[:, -1] | (before < WEEKS_NEEDED),
    ]
    return np.select(why, ["not_counted", "too_few_weeks", windows.reason, "not_comparable"], default="")


def _innovation(weeks: FarmWeeks, covariance: Floats) -> tuple[Floats, Floats, Floats]:
    """Give the score of each newest week, its deviation from what was expected, and the spread of that."""
    used = weeks.used
    lower = np.linalg.cholesky(covariance)
    columns = np.where(used[:, :, None], np.stack([np.ones(used.shape), weeks.effects], axis=2), 0.0)
    level, effects = np.moveaxis(np.linalg.solve(lower, columns), 2, 0)
    own = (level[:, :-1] ** 2).sum(axis=1)
    height = (level[:, :-1] * effects[:, :-1]).sum(axis=1) / own
    degrees = used[:, :-1].sum(axis=1) - 1.0
    rest = (effects[:, :-1] ** 2).sum(axis=1) - height**2 * own
    scale = np.sqrt(np.maximum(rest, TINY) / degrees)
    # Of the newest week's own part, and of the level that the weeks before it leave uncertain.
    off, spread = effects[:, -1] - height * level[:, -1], np.sqrt(1 + level[:, -1] ** 2 / own)
    score = special.ndtri(np.clip(special.stdtr(degrees, off / (spread * scale)), TINY, 1 - TINY))
    unit = lower[:, -1, -1]
    return np.clip(score, -LARGEST_SCORE, LARGEST_SCORE), off * unit, spread * scale * unit
