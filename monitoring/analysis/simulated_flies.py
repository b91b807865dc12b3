"""How many flies would there be, day by day? Simulates eggs, maggots, pupae and adults, for scenarios and tests."""

from dataclasses import dataclass, replace

import numpy as np

from monitoring.analysis.degree_days import by_sine
from monitoring.analysis.shapes import Floats, Ints, refuse, refuse_unlike

# Fast, middling and slow developers: shares of the eggs and how fast they are. Our own choice.
SHARES, PACES = np.array([0.25, 0.5, 0.25]), np.array([1.08, 1.0, 0.93])
UNTREATED, TREATED = 0.83, 0.73
# Maggots that a place of capacity 1 can hold before crowding kills as many a day as all else. Our own choice.
ROOM = 1_000.0
FLIES_A_UNIT = 1_000.0


@dataclass(frozen=True)
class Phase:
    """A phase of development: warmth above a threshold that it takes. [C, degree-days C]"""

    threshold: float
    degree_days: float

    @classmethod
    def through(cls, cool: tuple[float, float], warm: tuple[float, float]) -> "Phase":
        """Draw the line of 1 / days on temperature through two points (temperature, days)."""
        slope = (1 / warm[1] - 1 / cool[1]) / (warm[0] - cool[0])
        return cls(threshold=cool[0] - 1 / cool[1] / slope, degree_days=1 / slope)


@dataclass(frozen=True)
class FlyKind:
    """What the simulator knows of a kind of fly.

    `to_pupation` and `pupa` are its phases; of the first the share `egg` is spent in the egg. Above `fastest` (a day's
    temperature) development goes on no faster; where the day's mean passes from `fastest` to `deadly` the young die.
    `laying` gives eggs a female and day by mean temperature; `waits` is how many days a female waits before laying.
    `daily_loss` and `pupal_loss` are the shares of eggs and maggots, and of pupae, that die a day without crowding.
    """

    name: str
    to_pupation: Phase
    pupa: Phase
    egg: float
    laying: tuple[tuple[float, float], ...]
    waits: float
    daily_loss: float
    pupal_loss: float
    fastest: float = 35.0
    deadly: float = 38.0


# Days at 16 and 35 C, and no adults above 38 C: Lysyk and Axtell 1987, Can Entomol 119. The line between the two is our
# own interpolation, and so are laying, waiting and losses, chosen so that a season looks like one.
HOUSE_FLY = FlyKind(
    name="house fly",
    to_pupation=Phase.through((16, 26.8), (35, 5.2)),
    pupa=Phase.through((16, 43.1 - 26.8), (35, 8.8 - 5.2)),
    egg=0.12,
    laying=((13, 0), (18, 8), (25, 20), (33, 22), (38, 4)),
    waits=5.0,
    daily_loss=0.09,
    pupal_loss=0.04,
)
# 12.2 C and 225 degree-days: Gilles, David and Duvallet 2005, J Med Entomol 42. Eggs: Lysyk 1998, J Med Entomol 35.
# How the 225 are shared among the phases, waiting and losses are our own choice.
STABLE_FLY = FlyKind(
    name="stable fly",
    to_pupation=Phase(12.2, 0.62 * 225),
    pupa=Phase(12.2, 0.38 * 225),
    egg=0.12,
    laying=((12.2, 0), (15, 1.07), (20, 8.89), (25, 14.88), (30, 26.22), (35, 7.90)),
    waits=5.0,
    daily_loss=0.09,
    pupal_loss=0.04,
)


@dataclass(frozen=True)
class Places:
    """Where flies hatch, a row a facility and a column a day; arrays are (n_facilities, n_days).

    `capacity` is how much wet bedding, manure and feed there is for maggots (1 = a usual calf barn), `removed` the
    share of eggs and maggots taken out that day, `survival` the share of adults that live through the day.
    """

    capacity: Floats
    removed: Floats
    survival: Floats

    def __post_init__(self) -> None:
        for name in ("removed", "survival"):
            refuse_unlike(getattr(self, name), self.capacity.shape, name)
            refuse(~((getattr(self, name) >= 0) & (getattr(self, name) <= 1)), name, "must lie from 0 to 1")
        refuse(~((self.capacity >= 0) & np.isfinite(self.capacity)), "capacity", "must be a number from 0")

    def with_corner(self, facility: int, first_day: int, times: float) -> "Places":
        """From a day on a corner is not cleaned any more: capacity grows to so many times within three weeks."""
        grown = np.clip((np.arange(self.capacity.shape[1]) - first_day) / 21, 0, 1)
        capacity = self.capacity.copy()
        capacity[facility] *= 1 + (times - 1) * grown
        return replace(self, capacity=capacity)

    def with_clean_out(self, facility: int, day: int, *, share: float = 0.9, lasts: int = 28) -> "Places":
        """On a day a share of eggs and maggots is taken out, and that share of the capacity for some weeks.

        The capacity comes back evenly over `lasts` days. Pupae in dry edges stay. A clean-out that fails has a small
        share, or comes when the maggots have left already.
        """
        removed, capacity = self.removed.copy(), self.capacity.copy()
        removed[facility, day] = share
        since = np.arange(self.capacity.shape[1]) - day
        back = np.clip(since / max(lasts, 1), 0, 1)
        capacity[facility] *= np.where(since >= 0, 1 - share * (1 - back), 1.0)
        return replace(self, removed=removed, capacity=capacity)

    def with_adults_treated(self, facility: int, first_day: int, days: int) -> "Places":
        """For some days fewer adults live through the day: 0.73 instead of 0.83."""
        survival = self.survival.copy()
        survival[facility, first_day : first_day + days] = TREATED
        return replace(self, survival=survival)


def usual_places(richness: Floats, n_days: int) -> Places:
    """Give places of a capacity that stays the same all season, nothing removed, adults untreated (survival 0.83).

    Examples
    --------
    >>> usual_places(np.array([1.0, 0.5]), 150).capacity.shape
    (2, 150)
    """
    capacity = np.repeat(np.asarray(richness, np.float64)[:, None], n_days, axis=1)
    return Places(capacity, np.zeros_like(capacity), np.full_like(capacity, UNTREATED))


@dataclass(frozen=True)
class FlyDays:
    """Flies at the end of each day, (n_facilities, n_days) each; `emerged` are the adults of that day. [individuals]"""

    eggs: Floats
    maggots: Floats
    pupae: Floats
    adults: Floats
    emerged: Floats


def simulate_flies(
    kind: FlyKind,
    lowest: Floats,
    highest: Floats,
    places: Places,
    *,
    arriving: float = 15.0,
    eggs_at_first: float = 0.0,
) -> FlyDays:
    """Follow eggs, maggots, pupae and adults of all facilities through the season at once.

    Parameters
    ----------
    kind : FlyKind -- HOUSE_FLY or STABLE_FLY.
    lowest, highest : (n_facilities, n_days) -- daily temperatures; none missing. [C]
    places : Places -- (n_facilities, n_days).
    arriving : float -- adults that come from elsewhere on each day warm enough to lay. [individuals a day]
    eggs_at_first : float -- eggs laid on the first day. [individuals]

    Returns
    -------
    FlyDays

    Notes
    -----
    Each day's eggs are a cohort of three paces. A cohort's age runs from 0 to 1 (pupation) to 2 (emergence) by the
    day's degree-days (single sine, cutoff at `kind.fastest`) over those its phase takes. Eggs and maggots die at a
    rate that grows with the maggots per room (Ricker's crowding); a clean-out removes a share of both and leaves the
    pupae. Half of the adults are females; after waiting they lay by the day's mean temperature. Nothing is random: the
    same weather and places give the same flies.

    Examples
    --------
    >>> at_35 = np.full((1, 15), 35.0)
    >>> flies = simulate_flies(HOUSE_FLY, at_35, at_35, usual_places(np.ones(1), 15), arriving=0, eggs_at_first=1000)
    >>> int(flies.emerged[0].argmax())  # 8.8 days are over on the ninth day
    8
    """
    refuse_unlike(highest, lowest.shape, "highest")
    refuse_unlike(places.capacity, lowest.shape, "places")
    refuse(~(np.isfinite(lowest) & np.isfinite(highest)), "lowest and highest", "must be finite numbers")
    warmth = _Warmth.of(kind, lowest, highest)
    herd = _Herd.empty(kind, lowest.shape)
    herd.young[:, 0, :] = eggs_at_first * SHARES
    days = [herd.day_passes(day, warmth, places, arriving) for day in range(lowest.shape[1])]
    return FlyDays(*(np.stack(stage, axis=1) for stage in zip(*days, strict=True)))


def activity_of(flies: FlyDays, lowest: Floats, highest: Floats) -> Floats:
    """Give how busy the adults are each day: what cards, traps and legs see.

    Parameters
    ----------
    flies : FlyDays
    lowest, highest : (n_facilities, n_days) -- daily temperatures. [C]

    Returns
    -------
    (n_facilities, n_days) float, zero or more -- thousands of adults times how warm it is for them: nothing on days
    that stay under 12 C, everything from 25 C, less again above 36 C (our own choice).
    """
    refuse_unlike(lowest, flies.adults.shape, "lowest")
    refuse_unlike(highest, flies.adults.shape, "highest")
    busy = np.interp(highest, [12, 25, 36, 42], [0, 1, 1, 0.3])
    return np.asarray(flies.adults / FLIES_A_UNIT * busy, np.float64)


def with_weekly_shock(rng: np.random.Generator, activity: Floats, farm: Ints, *, scatter: float = 0.2) -> Floats:
    """Let each farm's weather of a week (sun, wind, rain) move the activity of all its facilities together.

    Parameters
    ----------
    rng : seeded generator.
    activity : (n_facilities, n_days) -- day 0 begins a week.
    farm : (n_facilities,) int -- whose facility it is, from 0.
    scatter : float -- standard deviation of the log of the shock; 0 = none.

    Returns
    -------
    (n_facilities, n_days) float -- activity times a shock with mean 1, the same for a farm's facilities all week.
    """
    refuse_unlike(farm, (activity.shape[0],), "farm")
    n_farms, n_weeks = int(farm.max(initial=-1)) + 1, -(-activity.shape[1] // 7)
    shock = np.exp(scatter * rng.standard_normal((n_farms, n_weeks)) - scatter**2 / 2)
    return np.asarray(activity * np.repeat(shock[farm], 7, axis=1)[:, : activity.shape[1]], np.float64)


@dataclass(frozen=True)
class _Warmth:
    """What each day's temperatures mean for the young and for laying; arrays (n_facilities, n_days)."""

    to_pupation: Floats
    pupa: Floats
    lives: Floats
    laid_a_female: Floats
    warm: Floats

    @classmethod
    def of(cls, kind: FlyKind, lowest: Floats, highest: Floats) -> "_Warmth":
        mean = (lowest + highest) / 2
        temperature, eggs = np.array(kind.laying).T
        return cls(
            to_pupation=_pace(kind.to_pupation, kind, lowest, highest),
            pupa=_pace(kind.pupa, kind, lowest, highest),
            lives=np.interp(mean, [kind.fastest, kind.deadly], [1.0, 0.0]),
            laid_a_female=np.interp(mean, temperature, eggs),
            warm=(mean > temperature[0]).astype(np.float64),
        )


def _pace(phase: Phase, kind: FlyKind, lowest: Floats, highest: Floats) -> Floats:
    """Give the share of a phase that a day completes."""
    return by_sine(lowest, highest, phase.threshold, kind.fastest) / phase.degree_days


@dataclass
class _Herd:
    """All flies of all facilities. `young` and `age` are (n_facilities, n_days, paces): a cohort a day of laying."""

    kind: FlyKind
    young: Floats
    age: Floats
    waiting: Floats
    laying: Floats

    @classmethod
    def empty(cls, kind: FlyKind, shape: tuple[int, int]) -> "_Herd":
        cohorts = (*shape, SHARES.size)
        return cls(kind, np.zeros(cohorts), np.zeros(cohorts), np.zeros(shape[0]), np.zeros(shape[0]))

    def day_passes(self, day: int, warmth: _Warmth, places: Places, arriving: float) -> tuple[Floats, ...]:
        """Let one day pass for the cohorts laid up to it; give eggs, maggots, pupae, adults and newly emerged."""
        young, age = self.young[:, : day + 1], self.age[:, : day + 1]
        self._lose(young, age, day, warmth, places)
        self._grow(age, warmth.to_pupation[:, day], warmth.pupa[:, day])
        out = age >= 2
        emerged = np.where(out, young, 0.0).sum(axis=(1, 2))
        young[out] = 0.0
        self._adults_age(emerged + arriving * warmth.warm[:, day], places.survival[:, day])
        if day + 1 < self.young.shape[1]:
            laid = self.laying / 2 * warmth.laid_a_female[:, day] * (places.capacity[:, day] > 0)
            self.young[:, day + 1] = laid[:, None] * SHARES
        egg, maggot = age < self.kind.egg, (age >= self.kind.egg) & (age < 1)
        stages = [np.where(stage, young, 0.0).sum(axis=(1, 2)) for stage in (egg, maggot, ~egg & ~maggot)]
        return (*stages, self.waiting + self.laying, emerged)

    def _lose(self, young: Floats, age: Floats, day: int, warmth: _Warmth, places: Places) -> None:
        """Take the dead and what a clean-out removes from the cohorts, in place."""
        pupa, crowd = age >= 1, np.where((age >= self.kind.egg) & (age < 1), young, 0.0).sum(axis=(1, 2))
        room = ROOM * np.maximum(places.capacity[:, day], 1e-6)
        # exp(-crowding) times what lives without: Ricker's form. No more than half a year's dying in a day.
        open_air = (1 - self.kind.daily_loss) * np.exp(-np.minimum(self.kind.daily_loss * crowd / room, 20.0))
        stays = open_air * (1 - places.removed[:, day])
        lives = np.where(pupa, 1 - self.kind.pupal_loss, stays[:, None, None]) * warmth.lives[:, day, None, None]
        young *= lives

    def _grow(self, age: Floats, to_pupation: Floats, pupa: Floats) -> None:
        """Add the day's share to each age; what is left of the day after pupation goes on at the pupa's pace."""
        first = to_pupation[:, None, None] * PACES
        later = pupa[:, None, None] * PACES
        into_pupa = np.clip((age + first - 1) / np.where(first > 0, first, 1.0), 0, 1)
        age[:] = np.where(age < 1, np.minimum(age + first, 1.0) + into_pupa * later, age + later)

    def _adults_age(self, new: Floats, survival: Floats) -> None:
        """Let the day's survivors of the waiting move on to laying, and the new ones wait."""
        ready = self.waiting * survival / self.kind.waits
        self.laying = self.laying * survival + ready
        self.waiting = self.waiting * survival - ready + new
