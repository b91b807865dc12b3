"""What might the temperatures of a season have been? Invented weather for scenarios and tests."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitoring.analysis.shapes import Days, Floats

DAYS_A_YEAR = 365.25
# How much of a day's departure from the usual is still there the next day, and how far such departures go.
STAYS, DEPARTURE = 0.75, 3.2
# Neighbouring regions share most of their weather.
SHARED = 0.85
NARROWEST_RANGE = 3.0


@dataclass(frozen=True)
class Climate:
    """The usual year of a temperate place: daily mean, its swing, its warmest day of the year, range of a day. [C]"""

    mean: float = 10.0
    swing: float = 12.5
    warmest_day: int = 203
    daily_range: float = 11.0


@dataclass(frozen=True)
class HeatWave:
    """Some days hotter than usual by so many degrees, the middle ones most."""

    first: np.datetime64
    days: int = 8
    hotter: float = 7.0


@dataclass(frozen=True)
class Weather:
    """Daily temperatures: `day` (n_days,) datetime64[D]; `lowest` and `highest` (n_regions, n_days). [C]"""

    day: Days
    lowest: Floats
    highest: Floats

    @property
    def mean(self) -> Floats:
        """(n_regions, n_days) -- half-way between lowest and highest. [C]"""
        return (self.lowest + self.highest) / 2


def season_weather(
    rng: np.random.Generator,
    days: Days,
    n_regions: int,
    *,
    climate: Climate | None = None,
    heat_waves: Sequence[HeatWave] = (),
) -> Weather:
    """Invent a season's lowest and highest temperatures for some neighbouring regions.

    Parameters
    ----------
    rng : seeded generator -- the same seed gives the same weather.
    days : (n_days,) datetime64[D] -- the days of the season, in order.
    n_regions : int
    climate : Climate -- a temperate one if not given.
    heat_waves : the hot spells, in every region.

    Returns
    -------
    Weather -- none missing; lowest always below highest.

    Notes
    -----
    The usual temperature is a yearly wave. Departures from it last (today's are three quarters of yesterday's, plus
    something new) and are mostly shared by the regions; a region is always a little warmer or cooler than the others.
    Cloudy days have a narrow range. All invented: no place's record is in it.

    Examples
    --------
    >>> season = np.arange("2026-04-01", "2026-10-01", dtype="M8[D]")
    >>> weather = season_weather(np.random.default_rng(1), season, 4)
    >>> weather.lowest.shape, bool((weather.lowest < weather.highest).all())
    ((4, 183), True)
    """
    climate = climate or Climate()
    days = np.asarray(days, "M8[D]")
    of_year = (days - days.astype("M8[Y]").astype("M8[D]")).astype(np.float64)
    usual = climate.mean + climate.swing * np.cos(2 * np.pi * (of_year - climate.warmest_day) / DAYS_A_YEAR)
    everywhere = _lasting(rng, (1, days.size))
    own = _lasting(rng, (n_regions, days.size))
    departure = DEPARTURE * (np.sqrt(SHARED) * everywhere + np.sqrt(1 - SHARED) * own)
    place = 0.6 * rng.standard_normal((n_regions, 1))
    mean = usual + place + departure + _hotter(days, heat_waves)
    # Warm spells are sunny ones, with cool nights.
    spread = climate.daily_range * np.exp(0.25 * rng.standard_normal(mean.shape)) + 0.4 * departure
    half = np.maximum(spread, NARROWEST_RANGE) / 2
    return Weather(days, np.round(mean - half, 1), np.round(mean + half, 1))


def _lasting(rng: np.random.Generator, shape: tuple[int, int]) -> Floats:
    """Give departures of unit size of which each day keeps a part."""
    new = rng.standard_normal(shape)
    departure = new.copy()
    for day in range(1, shape[1]):
        departure[:, day] = STAYS * departure[:, day - 1] + np.sqrt(1 - STAYS**2) * new[:, day]
    return departure


def _hotter(days: Days, heat_waves: Sequence[HeatWave]) -> Floats:
    """Give the extra degrees of each day: an arch over each heat wave."""
    extra = np.zeros(days.size)
    for wave in heat_waves:
        into = (days - wave.first.astype("M8[D]")).astype(np.float64) + 0.5
        inside = (into > 0) & (into < wave.days)
        extra += np.where(inside, wave.hotter * np.sin(np.pi * np.clip(into / wave.days, 0, 1)), 0.0)
    return extra
