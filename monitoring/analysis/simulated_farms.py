"""What would a network's counts be if everything about its farms were known? For judging every statement made of them.

Unlike `simulated_flies`, where eggs become flies by the weather, here the weeks follow exactly what the statements
assume or a known departure from it, so that coverage, false alarms and power can be counted.
"""

from dataclasses import dataclass, replace

import numpy as np

from monitoring.analysis.shapes import Floats, Words, refuse

LEVEL, RISING, FALLING = "level", "rising", "falling"
DOUBLES_EVERY_TWO_WEEKS = float(np.log(2) / 2)


@dataclass(frozen=True)
class Network:
    """What is known of the farms of a simulated network.

    `stations` a farm; `shock` and `stays` as in `correlated_weeks.WeekScatter`; `missing` the share of cards lost; `k`
    of counts; `level` the catch of a mean station in a week; `places` the standard deviation of the log between
    stations; `unlike` that of the farms' own shocks (log sd; 0 = all alike); `shared` that of a shock that moves all
    farms of the network together.
    """

    stations: int = 9
    shock: float = 0.3
    stays: float = 0.0
    missing: float = 0.0
    k: float = 1.5
    level: float = 40.0
    places: float = 0.6
    unlike: float = 0.0
    shared: float = 0.0

    def __post_init__(self) -> None:
        refuse(np.array([not 0 <= self.missing < 1]), "missing", "must be a share below 1")
        refuse(np.array([not 0 <= self.stays < 1]), "stays", "must be a correlation from 0 and below 1")

    def without_loss(self) -> "Network":
        """Give the same network with every card counted."""
        return replace(self, missing=0.0)


@dataclass(frozen=True)
class SimulatedFarms:
    """Drawn farms: `counts` (n_farms, n_stations, n_weeks), NaN = lost; `weeks` (n_farms, n_weeks) the true log effect
    of each week, shocks and growth together; `places` (n_farms, n_stations) the true log level of each station;
    `shocks` (n_farms,) each farm's own standard deviation of shocks.
    """

    counts: Floats
    weeks: Floats
    places: Floats
    shocks: Floats

    @property
    def days(self) -> Floats:
        """(n_farms, n_stations, n_weeks) -- seven, everywhere."""
        return np.full(self.counts.shape, 7.0)


def simulate_farms(
    rng: np.random.Generator, network: Network, farms: int, weeks: int, growth: Floats
) -> SimulatedFarms:
    """Draw the counts of a network.

    Parameters
    ----------
    rng : seeded generator.
    network : Network
    farms, weeks : int
    growth : (n_weeks,) or (n_farms, n_weeks) float -- what is added to the log of each week; zeros = level farms.

    Returns
    -------
    SimulatedFarms

    Examples
    --------
    >>> farms = simulate_farms(np.random.default_rng(1), Network(), 2, 8, np.zeros(8))
    >>> farms.counts.shape
    (2, 9, 8)
    """
    places = np.log(network.level) + network.places * rng.standard_normal((farms, network.stations))
    shocks = network.shock * np.exp(network.unlike * rng.standard_normal(farms))
    own = lasting(rng, (farms, weeks), network.stays) * shocks[:, None]
    together = network.shared * lasting(rng, (1, weeks), network.stays)
    effects = own + together + growth
    mean = np.exp(places[:, :, None] + effects[:, None, :])
    counts = rng.poisson(rng.gamma(network.k, mean / network.k)).astype(np.float64)
    counts[rng.random(counts.shape) < network.missing] = np.nan
    return SimulatedFarms(counts, effects, places, shocks)


def lasting(rng: np.random.Generator, shape: tuple[int, int], stays: float) -> Floats:
    """Draw unit shocks (n, n_weeks) of which each week keeps a part of the one before."""
    shocks = rng.standard_normal(shape)
    for week in range(1, shape[1]):
        shocks[:, week] = stays * shocks[:, week - 1] + np.sqrt(1 - stays**2) * shocks[:, week]
    return shocks


def rise_of(weeks: int, *, lasts: int, growth: float = DOUBLES_EVERY_TWO_WEEKS) -> Floats:
    """Give the log effect of a rise that fills the last weeks of a window after a level past.

    Examples
    --------
    >>> np.round(rise_of(4, lasts=2) / np.log(2), 2)
    array([0. , 0. , 0.5, 1. ])
    """
    return np.asarray(growth * np.maximum(np.arange(weeks) - (weeks - 1.0 - lasts), 0.0))


def mixed_growth(rng: np.random.Generator, farms: int, weeks: int, *, ahead: int = 0) -> tuple[Floats, Words]:
    """Draw farms of which 40 % are level, 30 % rise and 30 % fall.

    Parameters
    ----------
    rng : seeded generator.
    farms, weeks : int -- the window in which a change began: any week but its last.
    ahead : int -- weeks after the window through which it goes on.

    Returns
    -------
    (farms, weeks + ahead) float -- log effect; growth a week between 5 and 35 % of a unit of log, up or down.
    (farms,) str -- "level", "rising" or "falling".
    """
    kind = rng.choice(3, farms, p=[0.4, 0.3, 0.3])
    growth = rng.uniform(0.05, 0.35, farms) * np.array([0.0, 1.0, -1.0])[kind]
    start = rng.integers(0, weeks - 1, farms)
    lasted = np.maximum(np.arange(weeks + ahead)[None, :] - start[:, None], 0.0)
    return np.asarray(growth[:, None] * lasted, np.float64), np.array([LEVEL, RISING, FALLING])[kind]
