"""What would the farms of a region count in a season? For judging what can be worked out from its published figures."""

from dataclasses import dataclass

import numpy as np

from monitoring.analysis.own_normal import log_ratios
from monitoring.analysis.shapes import Bools, Floats, Ints, refuse
from monitoring.analysis.simulated_counts import draw_counts
from monitoring.analysis.simulated_farms import lasting

# The trade's action levels (common practice, see monitoring.methods): specks a card, flies a trap, flies an animal.
LEVELS = {"card": 100.0, "trap": 250.0, "leg": 10.0}
DEVICES = {"card": 6, "trap": 5, "leg": 12}
QUARTER = 13  # weeks
WEEKS = 26


@dataclass(frozen=True)
class RegionSeason:
    """What is known of the farms of a simulated region. All but the levels is our own choice.

    `unlike` is the standard deviation between farms of the log of their own level: with 0.6 the largest of ten has
    about six times the smallest; 0.4 is an even region, 0.8 an uneven one. `busy` is the median farm's mean at the
    season's height, over the action level. `shared` and `own` are the standard deviations of the log of a week's
    weather, for all farms together and for each, of which a week keeps `stays` of the one before. `missing` is the
    largest share of rounds that a farm leaves out; each has its own, from 0 to this. `changing` is the share of farms
    that leave at the change of the quarter, and as many join.
    """

    unlike: float = 0.6
    busy: float = 1.0
    shared: float = 0.3
    own: float = 0.35
    stays: float = 0.5
    missing: float = 0.2
    changing: float = 0.1

    def __post_init__(self) -> None:
        refuse(np.array([not 0 <= self.missing < 1]), "missing", "must be a share below 1")
        refuse(np.array([not 0 <= self.stays < 1]), "stays", "must be a correlation from 0 and below 1")
        refuse(np.array([not 0 <= self.changing <= 0.5]), "changing", "must be a share up to a half")


@dataclass(frozen=True)
class SimulatedSeason:
    """A region's season by one method: `means` (n_farms, n_weeks) in its unit, NaN where there was no round or the farm
    was not in the quarter's cohort; `ratios` (n_farms, n_weeks) the log of them over each farm's own normal, NaN where
    fewer than four weeks came before; `cohort` (n_farms, n_weeks) who was in it; `level` the action level, reached when
    equalled where `at_least`.
    """

    means: Floats
    ratios: Floats
    cohort: Bools
    level: float
    at_least: bool

    def contributors(self, week: int) -> Ints:
        """Who counted in a week, as indices."""
        return np.flatnonzero(~np.isnan(self.means[:, week]))


def simulate_season(
    rng: np.random.Generator, region: RegionSeason, farms: int, method: str = "card", weeks: int = WEEKS
) -> SimulatedSeason:
    """Draw a season of a region.

    Parameters
    ----------
    rng : seeded generator.
    region : RegionSeason
    farms : int -- how many are in the cohort of each quarter.
    method : str -- "card", "trap" or "leg".
    weeks : int

    Returns
    -------
    SimulatedSeason -- with more rows than `farms` where some leave and others join.

    Notes
    -----
    A farm's weekly mean is of negative-binomial counts (`simulated_counts`) on six cards, five traps or twelve animals.
    The season rises from a tenth to its height and falls again by half a cosine. Its normal is that of `own_normal`.

    Examples
    --------
    >>> season = simulate_season(np.random.default_rng(1), RegionSeason(), 20)
    >>> season.means.shape, season.cohort.sum(axis=0)[[0, 25]].tolist()
    ((22, 26), [20, 20])
    """
    refuse(np.array([method not in LEVELS]), "method", "must be card, trap or leg")
    level, devices = LEVELS[method], DEVICES[method]
    cohort = _cohorts(rng, region, farms, weeks)
    everybody = cohort.shape[0]
    own_level = np.log(region.busy * level) + region.unlike * rng.standard_normal(everybody)
    curve = np.log(0.1 + 0.9 * (1 - np.cos(2 * np.pi * (np.arange(weeks) + 0.5) / weeks)) / 2)
    weather = region.shared * lasting(rng, (1, weeks), region.stays)
    own = region.own * lasting(rng, (everybody, weeks), region.stays)
    expected = np.exp(own_level[:, None] + curve + weather + own)
    means = draw_counts(rng, np.repeat(expected[:, :, None], devices, axis=2)).mean(axis=2)
    left_out = region.missing * rng.random((everybody, 1))
    means[rng.random(means.shape) < left_out] = np.nan
    ratios = np.column_stack([log_ratios(means[:, week], means[:, :week], level) for week in range(weeks)])
    return SimulatedSeason(
        np.where(cohort, means, np.nan), np.where(cohort, ratios, np.nan), cohort, level, method == "leg"
    )


def _cohorts(rng: np.random.Generator, region: RegionSeason, farms: int, weeks: int) -> Bools:
    """Who is in the cohort of each week, (n_farms, n_weeks): some leave at each change of the quarter, as many join."""
    quarters = -(-weeks // QUARTER)
    changing = round(region.changing * farms)
    of_quarter = np.zeros((farms + changing * (quarters - 1), quarters), bool)
    members = np.arange(farms)
    of_quarter[members, 0] = True
    for quarter in range(1, quarters):
        stay = np.sort(rng.permutation(members)[changing:])
        members = np.concatenate([stay, farms + changing * (quarter - 1) + np.arange(changing)])
        of_quarter[members, quarter] = True
    return np.asarray(np.repeat(of_quarter, QUARTER, axis=1)[:, :weeks], np.bool_)
