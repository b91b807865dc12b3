"""Has the farm begun to rise, or to fall, against its own past?"""

from dataclasses import dataclass

import numpy as np

from monitoring.analysis.correlated_weeks import PRINTED, WeekScatter
from monitoring.analysis.farm_weeks import FarmWeeks
from monitoring.analysis.rise_null import DRAWS, DRAWS_FOR_MANY, MANY, NullDraws, null_draws
from monitoring.analysis.rise_statistic import STARTS, changes_of
from monitoring.analysis.shapes import Bools, Floats, Words


@dataclass(frozen=True)
class Rises:
    """Whether each farm rises or falls; arrays are (n_farms,).

    `rise` and `fall` are the largest t of a change over its possible starts, up and down; `p_rise` and `p_fall` the
    shares of level farms that would show so large a one by chance, each one-sided; NaN where `reason` is not "" (see
    `farm_weeks.FarmWeeks`; "not_this_week" where the newest week was not counted). `start` is how many weeks back the
    change of the larger of the two began, 0 where there is none.
    """

    rise: Floats
    fall: Floats
    p_rise: Floats
    p_fall: Floats
    start: Floats
    reason: Words


def find_rises(weeks: FarmWeeks, scatter: WeekScatter | None = None) -> Rises:
    """Test each farm against its own past: the farm's own 5 % test rests on nothing else.

    Parameters
    ----------
    weeks : FarmWeeks -- up to 12 weeks; more weeks show a rise more surely.
    scatter : WeekScatter -- of the farm's network, from earlier weeks; None where there is none: the printed one.

    Returns
    -------
    Rises

    Notes
    -----
    The largest t of a rise that began one, two or three weeks before the newest, with the network's covariance of weeks
    and the farm's own scale, which the network's stands beside with at most one degree of freedom: with more, quiet
    farms would get fewer false alarms and noisy ones more. The p-value is that of level farms with as many weeks and as
    uncertain counts; see `rise_null`. Of level farms one in twenty is called rising in any one week, so 11 to 13 of a
    hundred within three weeks: a page that shows it must say so.

    Where the newest week was not counted, nothing is said of this week. Missing is never zero.

    References
    ----------
    The search over starts: Hinkley 1969, Inference about the intersection in two-phase regression, Biometrika 56:495
    (from memory). Power and false alarms: docs/calibration.

    Examples
    --------
    >>> from monitoring.analysis.farm_weeks import farm_weeks_from
    >>> counts = np.array([[[40.0, 40, 41, 39, 40, 56, 80, 113]] * 9])
    >>> weeks = farm_weeks_from(counts, np.full(counts.shape, 7.0), np.arange(8) * 7.0, 1.5)
    >>> rises = find_rises(weeks)
    >>> bool(rises.p_rise[0] < 0.05), float(rises.start[0])
    (True, 3.0)
    """
    scatter = _usable(scatter)
    return _tested(weeks, scatter, scatter.degrees_of_own_test)


def find_rises_for_list(weeks: FarmWeeks, scatter: WeekScatter | None = None) -> Rises:
    """As `find_rises`, with all that the network's scale is worth: for a group's list, never for a farm's page."""
    scatter = _usable(scatter)
    return _tested(weeks, scatter, scatter.degrees_of_the_list, DRAWS_FOR_MANY if len(weeks) > MANY else DRAWS)


def _usable(scatter: WeekScatter | None) -> WeekScatter:
    return scatter if scatter is not None and scatter.borrowed else PRINTED


def _tested(weeks: FarmWeeks, scatter: WeekScatter, worth: float, draws: int = DRAWS) -> Rises:
    reason = np.where(weeks.told & ~weeks.newest_counted, "not_this_week", weeks.reason)
    told = reason == ""
    rise, fall, p_rise, p_fall, start = (np.full(len(weeks), np.nan) for _ in range(5))
    some = weeks.only(told)
    each = changes_of(some, scatter, worth)
    rise[told], fall[told] = each.max(axis=1, initial=-np.inf), (-each).max(axis=1, initial=-np.inf)
    for null, rows in null_draws_of(some, scatter, worth, draws):
        which = np.flatnonzero(told)[rows]
        p_rise[which], p_fall[which] = null.p_of_rise(rise[which]), null.p_of_fall(fall[which])
    start[told] = np.asarray(STARTS)[np.abs(each).argmax(axis=1)] if told.any() else 0.0
    return Rises(rise, fall, p_rise, p_fall, np.where(told, start, 0.0), reason)


def null_draws_of(
    weeks: FarmWeeks, scatter: WeekScatter, worth: float, draws: int = DRAWS
) -> list[tuple[NullDraws, Bools]]:
    """Give the null distributions that farms need, each with the mark of the farms that need it."""
    number = weeks.used.sum(axis=1)
    # Powers of the square root of two: within a step the distribution does not change visibly.
    step = np.round(2 * np.log2(np.maximum(weeks.noise_of_a_week, 1e-4)))
    found = []
    for some, size in sorted(set(zip(number.tolist(), step.tolist(), strict=True))):
        null = null_draws(int(some), 2.0 ** (size / 2), scatter, worth, draws)
        found.append((null, (number == some) & (step == size)))
    return found
