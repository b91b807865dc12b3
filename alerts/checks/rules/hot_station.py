"""One station far above the rest: an outlier among the farm's stations of a method, two counted weeks running."""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from monitoring.analysis.hot_station import HotStations
from monitoring.analysis.rates import StationWeeks
from monitoring.analysis.shapes import Bools, Floats

FEWEST_STATIONS = 5  # counted this week: with fewer there is no rest to be above
WEEKS_AT_TOP = 2  # counted weeks running
CHANCE = 0.05  # that the highest of stations that differ as the group's do stands so far out
COUNTED_WEEKS_QUIET = 2
# A fly that could have been found at the others, where they caught nothing: a ratio needs something below it.
HALF_A_FLY = 0.5


@dataclass(frozen=True)
class Apart:
    """Each owner's highest station beside its others; arrays are (n_owners,), see `apart`.

    `rate` is the highest rate and `others` the mean rate of the others [individuals per 7 days or per animal], NaN
    where fewer than five were counted; `chance` that one of so many stations stands so far out.
    """

    rate: Floats
    others: Floats
    chance: Floats

    @property
    def times(self) -> Floats:
        """How many times the others' mean the highest is."""
        return self.rate / self.others


def apart(newest: StationWeeks, hot: HotStations, k: Floats) -> Apart:
    """Hold each owner's highest station against its others, all at once.

    Parameters
    ----------
    newest : StationWeeks -- (n_stations, 1), the judged week.
    hot : HotStations -- of the same stations and week.
    k : (n_owners,) float -- negative-binomial k of how a week's counts scatter about their mean.

    Returns
    -------
    Apart

    Notes
    -----
    The chance is that of a negative-binomial count with the others' mean and this k to reach what the highest caught,
    times the number of stations (Bonferroni), at most 1. Stations without a count are left out: missing is not zero.
    Where the others caught nothing, half a fly among them stands in.
    """
    rate, effort, caught = newest.rate[:, 0], newest.effort[:, 0] / newest.per, newest.counted[:, 0]
    counted = ~np.isnan(rate)

    def of_owners(values: Floats | Bools) -> Floats:
        return np.bincount(hot.owner, np.where(counted, values, 0.0), len(k)).astype(np.float64)

    number, owners = of_owners(counted), np.flatnonzero(hot.top >= 0)
    owners = owners[number[owners] >= FEWEST_STATIONS]
    top = hot.top[owners]
    rest, efforts = of_owners(rate)[owners] - rate[top], of_owners(effort)[owners] - effort[top]
    # Differences of sums of floats: a rest that is nothing may be off in the last digit.
    nothing = rest <= rate[top] * np.finfo(np.float64).eps * number[owners]
    others = np.where(nothing, HALF_A_FLY / efforts, rest / (number[owners] - 1))
    tail = stats.nbinom.sf(caught[top] - 1, k[owners], k[owners] / (k[owners] + others * effort[top]))

    def of_all(values: Floats) -> Floats:
        found = np.full(len(k), np.nan)
        found[owners] = values
        return found

    return Apart(of_all(rate[top]), of_all(others), of_all(np.minimum(number[owners] * tail, 1.0)))


def met(found: Apart, hot: HotStations, times: float) -> Bools:
    """Mark the owners one of whose stations stands far above the rest, for the second counted week at least."""
    lasting = np.zeros(len(found.rate), np.bool_)
    has_top = hot.top >= 0
    lasting[has_top] = hot.weeks_at_top[hot.top[has_top]] >= WEEKS_AT_TOP
    with np.errstate(invalid="ignore"):
        return np.asarray(lasting & (found.times >= times) & (found.chance < CHANCE), np.bool_)
