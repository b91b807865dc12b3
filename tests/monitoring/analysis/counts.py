"""Invented counts for the tests of weeks, trends and what rests on them."""

from typing import Any

import numpy as np

from monitoring.analysis.farm_weeks import FarmWeeks, farm_weeks_from

NONE = float("nan")
MONDAYS = np.arange(8) * 7.0
GROWTH = 0.1
K = 1.5

Array = np.ndarray[Any, Any]


def simulated(
    rng: np.random.Generator,
    *,
    farms: int,
    stations: int = 9,
    weeks: int = 8,
    mean: float = 40.0,
    shock: float = 0.3,
    missing: float = 0.1,
) -> tuple[Array, Array]:
    """Counts (farms, stations, weeks) with a weekly shock shared by a farm's stations, and days from 5 to 9."""
    level = np.log(mean) + 0.6 * rng.standard_normal((farms, stations, 1))
    week = GROWTH * (np.arange(weeks) - (weeks - 1) / 2) + shock * rng.standard_normal((farms, 1, weeks))
    days = rng.integers(5, 10, (farms, stations, weeks)).astype(float)
    expected = np.exp(level + week) * days / 7
    # NumPy's own gamma draws underflow now and then; nothing else may.
    with np.errstate(under="ignore"):
        counts = rng.poisson(rng.gamma(K, expected / K)).astype(float)
    counts[rng.random(counts.shape) < missing] = np.nan
    return counts, days


def weeks_of(counts: Any, days: float = 7.0, dates: Any = None, k: Any = K) -> FarmWeeks:
    """The weeks of one farm (stations, weeks), or of several, all exposures alike and Monday to Monday."""
    counts = np.array(counts, float)
    counts = counts[None] if counts.ndim == 2 else counts
    when = np.arange(counts.shape[2]) * 7.0 if dates is None else dates
    return farm_weeks_from(counts, np.full(counts.shape, days), when, k)


def exactly_known(effects: Any, when: Any = None) -> FarmWeeks:
    """Weeks (farms, weeks) that counting adds nothing to: all that moves them is shocks and growth."""
    effects = np.atleast_2d(np.asarray(effects, float))
    number, weeks = effects.shape
    dates = np.broadcast_to(np.arange(float(weeks)) if when is None else np.asarray(when, float), effects.shape)
    return FarmWeeks(
        effects=effects - effects.mean(axis=1, keepdims=True),
        noise=np.zeros((number, weeks, weeks)),
        when=dates - dates.max(),
        base=effects.mean(axis=1),
        reason=np.full(number, "", "<U14"),
        weeks_observed=np.full(number, weeks),
        newest_counted=np.ones(number, bool),
        at_least=np.zeros(number, bool),
        dates=7 * dates,
    )
