"""What would it take to tell? How many more weeks, or cards another time, would show a change of some size."""

from dataclasses import dataclass

import numpy as np
from scipy import special

from monitoring.analysis.shapes import Bools, Floats, Ints, refuse, refuse_unlike
from monitoring.analysis.step_in_weeks import degrees_of, unit_variance
from monitoring.analysis.work_effect import BARN_SHOCK, FARM_SHOCK, WEEKS_NEEDED, lingering

LEVEL, POWER = 0.95, 0.8
# Looked at on each side of a work, at most: later counts have other reasons.
MOST_WEEKS = 4
TIMES = (1, 2, 3, 4)
# As if so many degrees of freedom had said that weeks scatter as usual: a farm's few weeks alone say little.
DEGREES_OF_USUAL = 6.0


@dataclass(frozen=True)
class CountsNeeded:
    """What would tell a change in four cases of five; both (n_works,).

    `weeks_more`: so many more weeks after this work, 0 = no number up to four after it does. `times`: another time,
    with four weeks before and four after, so many times as many cards in each place (1 = as many as now), 0 = not even
    four times as many do.
    """

    weeks_more: Ints
    times: Ints


def counts_needed(
    noise: Floats, before: Ints, after: Ints, target: Floats, factor: Floats, degrees: Ints
) -> CountsNeeded:
    """Reckon how many weeks or cards would make a change of some size tellable.

    Parameters
    ----------
    noise : (n_works, n_places) float -- log variance that counting gives a week of each place, the worked one first;
        NaN = no such place.
    before, after : (n_works,) int -- weeks counted so far.
    target : (n_works,) float -- the change that is to be told, as a log ratio; its sign does not matter. Zero can't be
        told by anything.
    factor, degrees : (n_works,) -- of the fit so far (`WorkEffects`); NaN and 0 where there is none.

    Returns
    -------
    CountsNeeded

    Notes
    -----
    A change g is told in four cases of five where (t(0.975) + t(0.8)) times its standard error is at most |g|, t with
    the degrees that such counts would leave (the usual reckoning of a sample's size; exact for a normal). The standard
    error is that of `work_effects`, its scatter taken between the farm's own and the usual one. Fewer than two weeks on
    a side never tell. What each work needs is reckoned by itself, however many are asked together.

    References
    ----------
    Snedecor and Cochran 1989, Statistical Methods, 8th ed., section 6.14 (from memory), for the size of a sample.

    Examples
    --------
    >>> noise = np.array([[0.05, 0.05, 0.05]])
    >>> counts_needed(noise, np.array([4]), np.array([1]), np.log([0.4]), np.array([np.nan]), np.array([0]))
    CountsNeeded(weeks_more=array([2]), times=array([1]))
    """
    refuse_unlike(before, target.shape, "before")
    refuse_unlike(after, target.shape, "after")
    refuse(noise < 0, "noise", "must not be negative")
    scale = (np.nan_to_num(factor) * degrees + DEGREES_OF_USUAL) / (degrees + DEGREES_OF_USUAL)

    def tells(first: Ints, then: Ints, times: int) -> Bools:
        return np.asarray(_reach(noise / times, first, then, scale) <= np.abs(target), np.bool_)

    weeks_more, times = np.zeros(target.shape, np.int64), np.zeros(target.shape, np.int64)
    for then in range(MOST_WEEKS, 0, -1):
        more = np.full(target.shape, then)
        enough = (more > after) & (before >= WEEKS_NEEDED) & (more >= WEEKS_NEEDED) & tells(before, more, 1)
        weeks_more = np.where(enough, more - after, weeks_more)
    full = np.full(target.shape, MOST_WEEKS)
    for each in reversed(TIMES):
        times = np.where(tells(full, full, each), each, times)
    return CountsNeeded(weeks_more, times)


def _reach(noise: Floats, before: Ints, after: Ints, scale: Floats) -> Floats:
    """(n_works,) -- the log ratio that such counts tell in four cases of five; infinite where nothing is told."""
    weeks = np.concatenate([np.arange(-MOST_WEEKS, 0), np.arange(1, MOST_WEEKS + 1)])
    counted = (weeks >= -before[:, None]) & (weeks <= after[:, None])
    used: Bools = np.asarray(~np.isnan(noise)[:, :, None] & counted[:, None, :], np.bool_)
    shared = np.asarray((~np.isnan(noise[:, 1:])).any(axis=1), np.bool_)
    shock = np.where(shared, BARN_SHOCK, FARM_SHOCK)[:, None, None, None] ** 2
    covariance = np.nan_to_num(noise)[:, :, None, None] * np.eye(len(weeks)) + shock * lingering(weeks)
    degrees = degrees_of(used, shared)
    free = np.maximum(degrees, 1).astype(np.float64)
    t = special.stdtrit(free, (1 + LEVEL) / 2) + special.stdtrit(free, POWER)
    reach = t * np.sqrt(unit_variance(covariance, used, shared, weeks > 0) * scale)
    return np.where((degrees > 0) & ~np.isnan(reach), reach, np.inf)
