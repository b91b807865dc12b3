"""What would a round find? Turns the flies of a simulated season into counts, for scenarios and tests."""

from dataclasses import dataclass

import numpy as np

from monitoring.analysis.shapes import Bools, Floats, Ints, Words, refuse, refuse_outside, refuse_unlike

# Counts on devices scatter with this k (variance m + m^2/k); stations differ by a log-normal factor.
K_OF_COUNTS, STATION_SCATTER = 1.5, 0.6
# What a device or an animal sees of one unit of activity. Our own choice, so that figures look like a barn's.
SPECKS_A_DAY, TRAPPED_A_DAY, ON_LEGS = 35.0, 75.0, 30.0
# A jug catches what cards showed one to two weeks before (Gerry et al. 2011, J Econ Entomol 104(3)).
TRAP_LAG = (7, 14)
IN_WIND, NEAR_MILK, NEAR_FEED, NEAR_WATER = 0.35, 2.5, 1.8, 1.4
LOST = np.array(["lost", "wet", "chewed", "spun"])


@dataclass(frozen=True)
class Hangings:
    """Cards or traps hung and taken down, one entry an exposure.

    `station`, `facility` (n,) int -- indices from 0; `hung`, `taken` (n,) int -- day of the season, taken after hung.
    """

    station: Ints
    facility: Ints
    hung: Ints
    taken: Ints

    def __post_init__(self) -> None:
        for name in ("facility", "hung", "taken"):
            refuse_unlike(getattr(self, name), self.station.shape, name)
        refuse(self.hung < 0, "hung", "must be a day of the season, from 0")
        refuse(self.taken <= self.hung, "taken", "must be after hung")


def catchability(rng: np.random.Generator, windy: Bools, near: Words, *, scatter: float = STATION_SCATTER) -> Floats:
    """Draw how much of the activity each station sees: places differ, and their siting is part of it.

    Parameters
    ----------
    rng : seeded generator.
    windy : (n_stations,) bool -- flies avoid it.
    near : (n_stations,) str -- "nothing", "milk", "feed" or "water": flies rest there without hatching there.
    scatter : float -- standard deviation of the log between like places.

    Returns
    -------
    (n_stations,) float, above zero -- mean 1 for a station out of the wind with nothing near.
    """
    refuse_unlike(near, windy.shape, "near")
    place = np.exp(scatter * rng.standard_normal(windy.shape) - scatter**2 / 2)
    draws = np.select([near == "milk", near == "feed", near == "water"], [NEAR_MILK, NEAR_FEED, NEAR_WATER], 1.0)
    return np.asarray(place * draws * np.where(windy, IN_WIND, 1.0), np.float64)


def counts_on_cards(rng: np.random.Generator, activity: Floats, hangings: Hangings, factor: Floats) -> Floats:
    """Draw the specks on each card.

    Parameters
    ----------
    rng : seeded generator.
    activity : (n_facilities, n_days) -- of house flies; see `simulated_flies.activity_of`.
    hangings : Hangings -- n exposures, all within the season.
    factor : (n_stations,) -- see `catchability`; times what stands close to where flies hatch.

    Returns
    -------
    (n,) float -- whole numbers, negative-binomial about the activity of the days up. [specks]
    """
    return draw_counts(rng, SPECKS_A_DAY * _seen(activity, hangings, factor))


def counts_in_traps(rng: np.random.Generator, activity: Floats, hangings: Hangings, factor: Floats) -> Floats:
    """Draw the flies in each jug trap; arguments as in `counts_on_cards`.

    A trap sees the mean activity of one to two weeks before, as jug catches follow cards by that.
    """
    return draw_counts(rng, TRAPPED_A_DAY * _seen(_one_to_two_weeks_before(activity), hangings, factor))


def counts_on_legs(
    rng: np.random.Generator, activity: Floats, facility: Ints, day: Ints, *, animals: int = 12
) -> Floats:
    """Draw the stable flies on all four legs of some animals.

    Parameters
    ----------
    rng : seeded generator.
    activity : (n_facilities, n_days) -- of stable flies.
    facility, day : (n,) int -- where and when each leg count is made.
    animals : int -- how many animals are looked at each time.

    Returns
    -------
    (n, animals) float -- whole numbers, zero or more. [flies an animal]
    """
    refuse_outside(facility, activity.shape[0], "facility")
    refuse_outside(day, activity.shape[1], "day")
    expected = ON_LEGS * activity[facility, day]
    return draw_counts(rng, np.repeat(expected[:, None], animals, axis=1))


def draw_counts(rng: np.random.Generator, expected: Floats, *, k: float = K_OF_COUNTS) -> Floats:
    """Draw negative-binomial counts with variance m + m^2/k about means m; a mean of 0 gives 0.

    Examples
    --------
    >>> draw_counts(np.random.default_rng(1), np.zeros(2)).tolist()
    [0.0, 0.0]
    """
    refuse(~((expected >= 0) & np.isfinite(expected)), "expected", "must be a number from 0")
    return rng.poisson(rng.gamma(k, expected / k)).astype(np.float64)


def without_lost(rng: np.random.Generator, counts: Floats, *, share: float = 0.04) -> tuple[Floats, Words]:
    """Lose some devices: their count becomes NaN, never zero, and a reason is given.

    Parameters
    ----------
    rng : seeded generator.
    counts : (n,) float.
    share : float -- how many are lost, from 0 to 1.

    Returns
    -------
    (n,) float and (n,) str -- "lost", "wet", "chewed" or "spun" where there is no count, else "".
    """
    gone = rng.random(counts.shape) < share
    why = LOST[rng.integers(0, LOST.size, counts.shape)]
    return np.where(gone, np.nan, counts), np.where(gone, why, "")


def as_counted(rng: np.random.Generator, counts: Floats, *, too_many: float = 400.0) -> tuple[Floats, Floats]:
    """Count only a quarter of the fullest cards, as people do.

    Parameters
    ----------
    rng : seeded generator.
    counts : (n,) float -- what is on the card; NaN = lost.
    too_many : float -- from so many specks a quarter is counted.

    Returns
    -------
    (n,) float and (n,) float -- what is counted (NaN stays NaN), and the part that it was counted on, 1 or 0.25.
    """
    full = np.nan_to_num(counts) >= too_many
    quarter = rng.binomial(np.nan_to_num(counts).astype(np.int64), 0.25).astype(np.float64)
    return np.where(full, quarter, counts), np.where(full, 0.25, 1.0)


def _seen(activity: Floats, hangings: Hangings, factor: Floats) -> Floats:
    """Add up the activity of the days up (the day hung, not the day taken), times the station's factor."""
    n_facilities, n_days = activity.shape
    refuse_outside(hangings.facility, n_facilities, "facility")
    refuse_outside(hangings.station, factor.size, "station")
    refuse(hangings.taken > n_days, "taken", "must be within the season")
    until = np.concatenate([np.zeros((n_facilities, 1)), np.cumsum(activity, axis=1)], axis=1)
    days_up = until[hangings.facility, hangings.taken] - until[hangings.facility, hangings.hung]
    # A difference of sums may fall below zero in its last digit.
    return np.asarray(np.maximum(days_up, 0.0) * factor[hangings.station], np.float64)


def _one_to_two_weeks_before(activity: Floats) -> Floats:
    """Give each day the mean activity of the days from 14 to 7 before it, as far as the season goes back."""
    first, last = TRAP_LAG
    n_days = activity.shape[1]
    back = np.arange(n_days)[:, None] - np.arange(first, last + 1)
    return np.asarray(activity[:, np.maximum(back, 0)].mean(axis=2), np.float64)
