"""How many are there on the farm, or in one of its facilities, and how sure is that?"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from monitoring.analysis.owners import OwnerSums
from monitoring.analysis.rates import StationWeeks
from monitoring.analysis.shapes import Bools, Floats, Ints, Words, refuse_outside, refuse_unlike

# With one device nothing says how uneven the farm is; with two a 95 % interval spans a factor of thousands.
STATIONS_FOR_AN_INTERVAL = 3
FEW_DEVICES = 5
# Where every device is at zero its scatter cannot be seen. This k (variance m + m^2/k of a device's count) is that of
# counts with k 1.5 on stations whose log rates scatter by 0.6: 1 / ((1 + 1/1.5) exp(0.36) - 1) = 0.72. Our own choice.
K_AT_ZERO = 0.7


@dataclass(frozen=True)
class WeeklyMeans:
    """The mean rate of each owner (a farm or a facility, and a method) in each week; arrays are (n_owners, n_weeks).

    `mean` is the plain mean over the stations with a count, NaN where none has one; `at_least` where one of them is
    "at least", so that the mean is too. `stations` is how many had a count, `devices` how many readings those are,
    `missing` how many readings had none.
    """

    mean: Floats
    stations: Ints
    devices: Ints
    missing: Ints
    at_least: Bools
    owner: Ints
    station_weeks: StationWeeks

    @property
    def few(self) -> Bools:
        """(n_owners, n_weeks) -- counted on fewer than five devices."""
        return self.devices < FEW_DEVICES

    def interval(self, level: float = 0.95) -> "Interval":
        """Give the interval of each mean; see `interval_of_means`."""
        return interval_of_means(self, level=level)


@dataclass(frozen=True)
class Interval:
    """The ends of an interval, (n_owners, n_weeks); NaN where there is none.

    `why_none` says why an end is missing: "" (both are there), "no_count", "one_station", "two_stations", or "at_least"
    (a lower end, no upper one).
    """

    low: Floats
    high: Floats
    why_none: Words


def weekly_means(station_weeks: StationWeeks, owner: Ints, n_owners: int) -> WeeklyMeans:
    """Take the mean over stations for all owners and weeks at once.

    Parameters
    ----------
    station_weeks : StationWeeks -- (n_stations, n_weeks); rates of different methods may stand in one grid as long as
        no owner mixes them.
    owner : (n_stations,) int -- whose station it is: the index of a farm (or facility) and method, from 0.
    n_owners : int

    Returns
    -------
    WeeklyMeans -- in the unit of the rates.

    Notes
    -----
    Each station weighs the same, however long its card hung. Zero counts as zero. A station without a count that week
    is left out, never taken as zero.
    """
    n_stations, n_weeks = station_weeks.rate.shape
    refuse_unlike(owner, (n_stations,), "owner")
    refuse_outside(owner, n_owners, "owner")
    have = ~np.isnan(station_weeks.rate)
    add = OwnerSums(owner, (n_owners, n_weeks))
    stations = add(have).astype(np.int64)
    return WeeklyMeans(
        mean=_mean(add(np.where(have, station_weeks.rate, 0.0)), stations),
        stations=stations,
        devices=add(station_weeks.devices).astype(np.int64),
        missing=add(station_weeks.missing).astype(np.int64),
        at_least=add(station_weeks.at_least) > 0,
        owner=owner,
        station_weeks=station_weeks,
    )


def interval_of_means(means: WeeklyMeans, *, level: float = 0.95) -> Interval:
    """Give an interval on the log scale for the mean over an owner's stations.

    Parameters
    ----------
    means : WeeklyMeans
    level : float -- confidence, above 0 and below 1.

    Returns
    -------
    Interval

    Notes
    -----
    With n stations of mean m and squared relative scatter c = s^2/m^2, the interval is
    m exp(c/n -/+ t sqrt(c/n (1 + 2 c/n))), t on n - 1 degrees of freedom: the log-scale t interval, with two terms of
    the next order in c/n, because counts are skewed: without them a lower end too low and an upper end too low make
    it cover 90 to 95 %; with them 92.5 to 97 % with 5 to 40 stations at means of 10 and more, and up to 99 % below
    (simulated: negative-binomial counts, k from 0.8 to 10, on stations with log scatter 0.2 to 0.6; the test
    prints it). s^2 is never taken below what counting alone gives. The shift c/n is at most 1.

    Fewer than three stations: none. All at zero: from 0 to the mean at which so many zeros would come up in half of
    1 - level if counts scatter with k = 0.7 (our own choice). With an at-least count among them there is a lower end,
    honest because it belongs to the mean of what was seen, and no upper one.
    """
    if not 0 < level < 1:
        raise ValueError("level must be above 0 and below 1.")
    low, high = _log_t_ends(means, level)
    zero = (means.mean == 0) & (means.stations >= STATIONS_FOR_AN_INTERVAL)
    low = np.where(zero, 0.0, low)
    high = np.where(zero, _highest_mean_at_zero(means, level), high)
    return Interval(low, np.where(means.at_least, np.nan, high), _why_none(means))


def _mean(total: Floats, number: Ints) -> Floats:
    return np.where(number > 0, total / np.maximum(number, 1), np.nan)


def _log_t_ends(means: WeeklyMeans, level: float) -> tuple[Floats, Floats]:
    """Give m exp(c/n -/+ t sqrt(c/n (1 + 2 c/n))), NaN where the mean is zero or on too few stations."""
    usable = (means.stations >= STATIONS_FOR_AN_INTERVAL) & (means.mean > 0)
    n = np.where(usable, means.stations, STATIONS_FOR_AN_INTERVAL)
    mean = np.where(usable, means.mean, 1.0)
    relative = np.where(usable, _scatter(means), 1.0) / (n * mean**2)
    t = special.stdtrit(n - 1.0, (1 + level) / 2)
    middle = np.minimum(relative, 1.0)
    # The half-width is capped where exp would leave the range of floats.
    half = np.minimum(t * np.sqrt(relative * (1 + 2 * relative)), 500.0)
    low, high = mean * np.exp(middle - half), mean * np.exp(middle + half)
    return np.where(usable, low, np.nan), np.where(usable, high, np.nan)


def _scatter(means: WeeklyMeans) -> Floats:
    """Give the variance of the rates over stations, at least that of the counting itself."""
    weeks = means.station_weeks
    have = ~np.isnan(weeks.rate)
    add = OwnerSums(means.owner, means.mean.shape)
    off = np.where(have, weeks.rate - means.mean[means.owner], 0.0)
    between = add(off**2) / np.maximum(means.stations - 1, 1)
    # A count of variance equal to itself, made a rate: (per / effort)^2 x counted = rate x per / effort.
    counting = np.where(have, weeks.rate * weeks.per[:, None] / np.where(have, weeks.effort, 1.0), 0.0)
    return np.maximum(between, add(counting) / np.maximum(means.stations, 1))


def _highest_mean_at_zero(means: WeeklyMeans, level: float) -> Floats:
    """Give the m with (k / (k + m))^n = (1 - level) / 2, in the unit of the rate at the mean effort."""
    weeks = means.station_weeks
    have = ~np.isnan(weeks.rate)
    n = np.maximum(means.stations, 1)
    add = OwnerSums(means.owner, means.mean.shape)
    per_count = add(np.where(have, weeks.per[:, None] / np.where(have, weeks.effort, 1.0), 0.0)) / n
    return per_count * K_AT_ZERO * (((1 - level) / 2) ** (-1.0 / n) - 1)


def _why_none(means: WeeklyMeans) -> Words:
    few = np.array(["no_count", "one_station", "two_stations"])[np.minimum(means.stations, 2)]
    enough = np.where(means.at_least, "at_least", "")
    return np.where(means.stations < STATIONS_FOR_AN_INTERVAL, few, enough)
