"""How many flies are on the legs?"""

from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import ArrayLike

from monitoring.analysis.leg_scatter import K_OF_LEGS
from monitoring.analysis.mean_interval import FEWEST, highest_mean_at_zero, log_t_ends
from monitoring.analysis.negative_binomial import checked_counts, sizes
from monitoring.analysis.rates import LEGS_PER_ANIMAL
from monitoring.analysis.shapes import Floats, Ints, Words, refuse

NO_COUNT, TOO_FEW_DATA = "no_count", "too_few_data"


@dataclass(frozen=True)
class LegMeans:
    """The mean of each leg count with the ends of its interval; arrays are (n_sessions,).

    `mean`, `low`, `high` are flies an animal, on all four legs; NaN where there is none. `animals` is how many were
    looked at. `reason` says why ends are missing: "" (they are there), "no_count" (no animal) or "too_few_data" (fewer
    than three animals; then there is a mean all the same).
    """

    mean: Floats
    low: Floats
    high: Floats
    animals: Ints
    reason: Words

    @property
    def per_leg(self) -> "LegMeans":
        """The same a leg: four legs an animal."""
        return replace(
            self, mean=self.mean / LEGS_PER_ANIMAL, low=self.low / LEGS_PER_ANIMAL, high=self.high / LEGS_PER_ANIMAL
        )


def leg_means(flies: ArrayLike, *, k: float = K_OF_LEGS, level: float = 0.95) -> LegMeans:
    """Give the mean of each leg count, and how sure it is from how much its animals differ.

    Parameters
    ----------
    flies : (n_sessions, n_animals) float -- flies on all four legs of each animal of one leg count: whole numbers; NaN
        = no such animal. [flies an animal]
    k : float -- of animals' counts (variance m + m^2/k), above zero; used only where no animal had a fly.
    level : float -- confidence, above 0 and below 1.

    Returns
    -------
    LegMeans

    Raises ValueError where a count is negative, infinite or not whole, or k or level is out of its range.

    Notes
    -----
    The interval is of the mean of the animals in these pens on this day, of which those counted are a sample: it comes
    from their own scatter (`mean_interval.log_t_ends`, with at least what counting gives). What all animals of a day
    share, such as the weather or the hour, is not in it: it says nothing about another day or other pens. Four legs of
    one animal are no four samples, so that the interval a leg is a quarter of that of an animal.

    An animal without flies is a zero; one that is missing is no animal. All at zero: from 0 to the mean at which so
    many zeros would come up in half of 1 - level. Fewer than three animals: no interval.

    With negative-binomial counts of k 0.8 and 1.4, 10 to 15 animals and means from 2 to 15 a 95 % interval covers 94 to
    96 % (simulated; the test prints it).

    References
    ----------
    Ten to 15 animals a count: common practice, printed in extension guides. k 1.4: see `leg_scatter.K_OF_LEGS`.

    Examples
    --------
    >>> legs = leg_means([[12, 3, 0, 7, 9, 15, 4, 6, 8, 5]])
    >>> [float(each[0].round(1)) for each in (legs.mean, legs.low, legs.high, legs.per_leg.mean)]
    [6.9, 4.5, 11.4, 1.7]
    """
    y = checked_counts(flies, whole=True, name="flies")
    animals, total = sizes(y)
    mean = np.where(animals > 0, total / np.maximum(animals, 1), np.nan)
    return _told(mean, animals, _scatter(y, mean, animals), k=k, level=level)


def leg_means_of_sums(
    animals: Floats, flies: Floats, squares: Floats, owner: Ints, n_owners: int, *, k: float = K_OF_LEGS
) -> LegMeans:
    """Give the mean of each owner's leg counts with its 95 % interval, from sums over the animals of each.

    Parameters
    ----------
    animals, flies, squares : (n_counts,) float -- animals looked at, flies on them all, and the sum of the squares of
        each animal's flies. [animals, flies, flies^2]
    owner : (n_counts,) int -- whose leg count it is, from 0.
    n_owners : int
    k : float -- as in `leg_means`.

    Returns
    -------
    LegMeans -- (n_owners,). The mean is that over the owner's leg counts, each weighing the same, as in `farm_mean`.

    Raises ValueError where a sum is negative or no animals go with flies.

    Examples
    --------
    >>> sums = (np.array([10.0]), np.array([69.0]), np.array([649.0]))
    >>> legs = leg_means_of_sums(*sums, np.array([0]), 1)
    >>> [float(each[0].round(1)) for each in (legs.mean, legs.low, legs.high)]
    [6.9, 4.5, 11.4]
    """
    refuse((animals < 1) | (flies < 0) | (squares < 0), "animals", "must be one or more, with sums from zero")
    own_mean = flies / animals
    own = np.maximum(squares - animals * own_mean**2, 0.0) / np.maximum(animals - 1, 1)
    add = partial(np.bincount, owner, minlength=n_owners)
    counts, number = add(), add(animals)
    mean = np.where(counts > 0, add(own_mean) / np.maximum(counts, 1), np.nan)
    # The variance of a mean over S counts is sum(s^2/n)/S^2; times the animals it is that of one of them.
    scatter = number * add(own / animals) / np.maximum(counts, 1) ** 2
    return _told(mean, number.astype(np.int64), scatter, k=k, level=0.95)


def _told(mean: Floats, animals: Ints, scatter: Floats, *, k: float, level: float) -> LegMeans:
    # What counting alone gives is the mean itself.
    ends = log_t_ends(mean, animals, np.fmax(scatter, mean), mean, level=level)
    enough = animals >= FEWEST
    zero = enough & (mean == 0)
    most = highest_mean_at_zero(np.maximum(animals, 1), k, level=level)
    return LegMeans(
        mean=mean,
        low=np.where(zero, 0.0, ends.low),
        high=np.where(zero, most, ends.high),
        animals=animals,
        reason=np.select([animals == 0, ~enough], [NO_COUNT, TOO_FEW_DATA], ""),
    )


def _scatter(y: Floats, mean: Floats, animals: Ints) -> Floats:
    """Give the variance over the animals of each session, 0 where there are fewer than two."""
    off = np.where(np.isnan(y), 0.0, y - mean[:, None])
    return np.asarray((off**2).sum(axis=1) / np.maximum(animals - 1, 1), np.float64)
