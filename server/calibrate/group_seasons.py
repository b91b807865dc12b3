"""What is so on the farms of a group through a season, and what would their cards say? For judging alerts."""

from dataclasses import dataclass, replace

import numpy as np

from monitoring.analysis.shapes import Floats
from monitoring.analysis.simulated_farms import DOUBLES_EVERY_TWO_WEEKS, Network, simulate_farms
from server.calibrate.seasons import Season

WEEKS, ACTION_LEVEL = 26, 100.0  # specks a card and week: the trade's action guideline for spot cards
# Level farms: nine cards, a twentieth of them lost, shocks as the printed figures have them; about one farm-week in
# fifteen lies over the level.
LEVEL_FARMS = Network(stations=9, shock=0.3, stays=0.2, missing=0.05)
# Flies that weather drives leave fewer specks in the simulation: the level of that group is its own choice.
WEATHER_LEVEL = 35.0
# How unlike farms are (log sd), and the shock that all farms of the third group share.
FARMS_DIFFER, SHARED = 0.4, 0.3
# Of the second group a fifth has an outbreak: it begins in one of these weeks, doubles every two weeks up to four
# times the farm's usual level, stays there, and is gone three weeks later.
OUTBREAKS, BEGINS, RISES, STAYS, ENDS = 0.2, (7, 19), 4, 3, 3
KINDS = ("level", "outbreaks", "shared", "weather")


@dataclass(frozen=True)
class GroupSeason:
    """What the cards of a group say, and what was so.

    `counts` and `days` (n_farms, n_stations, n_weeks), NaN = lost, `days` times the part counted; `true` (n_farms,
    n_weeks), the true mean of a farm's cards [specks a card and 7 days]; `level` the group's action level; `places`
    (n_farms, n_stations) the true log level of each station, None where it changes with the weeks.
    """

    counts: Floats
    days: Floats
    true: Floats
    level: float = ACTION_LEVEL
    places: Floats | None = None

    @property
    def weeks(self) -> int:
        """How many weeks it has."""
        return self.counts.shape[2]


def simulate_group(rng: np.random.Generator, kind: str, farms: int) -> GroupSeason:
    """Draw a season of a group.

    Parameters
    ----------
    rng : seeded generator.
    kind : str -- "level": farms that differ in their usual level and stay about it, 26 weeks; "outbreaks": the same,
        and a fifth of them multiply by four for a while; "shared": level farms beside shocks that all of them share;
        "weather": flies that follow each day's temperatures through the 22 weeks from May to September.
    farms : int

    Returns
    -------
    GroupSeason
    """
    if kind == "weather":
        season = Season.of(rng, farms)
        return GroupSeason(season.counts, season.days, np.exp(season.true), WEATHER_LEVEL)
    network = replace(LEVEL_FARMS, shared=SHARED) if kind == "shared" else LEVEL_FARMS
    growth = FARMS_DIFFER * rng.standard_normal((farms, 1)) + np.zeros(WEEKS)
    if kind == "outbreaks":
        growth = growth + _outbreaks(rng, farms)
    drawn = simulate_farms(rng, network, farms, WEEKS, growth)
    true = np.exp(drawn.places).mean(axis=1)[:, None] * np.exp(drawn.weeks)
    return GroupSeason(drawn.counts, drawn.days, np.asarray(true, np.float64), places=drawn.places)


def _outbreaks(rng: np.random.Generator, farms: int) -> Floats:
    """Give the log effect of outbreaks, (n_farms, n_weeks); zero on farms without one."""
    has, begins = rng.random(farms) < OUTBREAKS, rng.integers(*BEGINS, farms)
    since = np.arange(WEEKS)[None, :] - begins[:, None] + 1.0
    up = np.clip(since, 0, RISES)
    down = np.clip((since - RISES - STAYS) * RISES / ENDS, 0, RISES)
    return np.asarray(np.where(has[:, None], DOUBLES_EVERY_TWO_WEEKS * (up - down), 0.0), np.float64)
