"""Do the intervals of a work's effect hold what they promise? Measured on simulated farms."""

from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from monitoring.analysis.shapes import Bools, Floats, Ints
from monitoring.analysis.simulated_counts import K_OF_COUNTS, STATION_SCATTER, draw_counts
from monitoring.analysis.work_effect import work_effects

DAYS = 7.0
LEVEL = 0.95
FARM_SHOCK = 0.3
LINGERS = 0.5
HIGH = 4 / 3


@dataclass(frozen=True)
class Cell:
    """What is simulated.

    `stations` stand for the work and `others` for the comparison; `before` and `after` weeks; `mean` catch a station
    and week; `missing` share without a count; `correlation` from week to week of the farm's shock (sd 0.3), which both
    sides share; `own` sd of a shock of each side alone, with `own_correlation`; with `when_high` the work is done only
    where the treated side's last week was a third above its usual level.
    """

    stations: int = 5
    others: int = 5
    before: int = 4
    after: int = 4
    mean: float = 60.0
    missing: float = 0.0
    correlation: float = 0.0
    own: float = 0.0
    own_correlation: float = 0.0
    when_high: bool = False
    places: int = 2
    k: float = K_OF_COUNTS
    left: float = 0.5

    @property
    def place(self) -> Ints:
        """The place of each station: the worked one first, the others spread over the rest."""
        others = np.arange(self.others) % max(self.places - 1, 1) + 1
        return np.concatenate([np.zeros(self.stations, np.int64), others])

    @property
    def weeks(self) -> Ints:
        """Columns, counted from the work: the first week after it is left out, as on the pages."""
        return np.concatenate([np.arange(-self.before, 0), np.arange(1, self.after + 1)])


# What the issue asks for: 5 and 5 stations, 3 to 4 weeks on each side, the farm's shock with correlation 0 and 0.5.
ASKED = [
    Cell(before=before, after=after, missing=missing, correlation=correlation)
    for before, after in ((3, 3), (3, 4), (4, 3), (4, 4))
    for correlation in (0.0, LINGERS)
    for missing in (0.0, 0.2)
]
# Beyond it, printed: as long as the pages look back, few counts, few stations, shocks of one barn alone.
BEYOND = [
    Cell(before=4, after=6),
    Cell(before=2, after=2),
    Cell(mean=6.0),
    Cell(before=2, after=2, mean=6.0),
    Cell(stations=2, others=2, after=6),
    Cell(stations=1, others=3, after=6),
    Cell(others=10),
    *(Cell(own=own, own_correlation=lasting) for own in (0.15, 0.3) for lasting in (0.0, LINGERS)),
]
ALONE = [
    Cell(others=0, before=before, after=after, correlation=correlation)
    for before, after in ((3, 3), (4, 4), (4, 6))
    for correlation in (0.0, LINGERS)
]
WHEN_HIGH = [Cell(when_high=True), Cell(others=0, when_high=True)]
# Farms as they are: from 5 cards in two barns to 25 in five, two and three weeks, even and uneven counts, what moves
# one barn alone; by turns nothing, a fall by 40 and 80 %, a rise by half.
SIZES = (Cell(3, 2), Cell(4, 6, places=3), Cell(13, 12), Cell(5, 20, places=5))
SHOCKS = ((0.0, 0.0), (0.15, LINGERS), (0.3, 0.0), (0.3, LINGERS))
LEFT = (1.0, 0.6, 0.2, 1.5)
FARMS = [
    replace(size, before=before, after=after, k=k, own=own, own_correlation=lasting, correlation=lasting, mean=40.0)
    for size in SIZES
    for before, after in ((2, 2), (2, 3), (3, 3))
    for k in (0.8, 2.0)
    for own, lasting in SHOCKS
]
PLACES = [replace(cell, left=LEFT[(number + number // 4) % len(LEFT)]) for number, cell in enumerate(FARMS)]
NOTHING = [replace(cell, left=1.0) for cell in FARMS if cell.before == cell.after]
# Where it can't be known: a week on a side, hardly anything caught, nobody to compare with.
NOT_KNOWN = [
    Cell(before=1, after=3), Cell(before=3, after=1), Cell(before=1, after=1), Cell(5, 20, 1, 1, places=5),
    Cell(mean=1.0), Cell(mean=1.5), Cell(mean=5.0), Cell(others=0, before=1, after=1),
    Cell(missing=0.7, before=2, after=2),
]  # fmt: skip


def figures(farms: int, seed: int) -> dict[str, Any]:
    """Measure so many farms a cell, each with a work that halves the flies where it isn't said otherwise.

    Each cell has `covers` (share of 95 % intervals that hold the truth), `bias` (mean log ratio less the true one),
    `factor` (half the interval's width as a factor, the median), `shown` and `shown_more` (share of intervals wholly
    below and above no change) and `told` (share of farms with a result and, where there are others, a comparison).
    "asked" are the issue's cells; "beyond" go further; "places" are farms of several barns; "nothing" the same with a
    work that does nothing; "alone" has no comparison; in "when_high" a work is done because of a high week, which makes
    any work look good; "not_known" are farms of which it can't be known.
    """
    rng = np.random.default_rng(seed)
    groups = {
        "asked": ASKED, "beyond": BEYOND, "places": PLACES, "nothing": NOTHING, "alone": ALONE, "when_high": WHEN_HIGH,
        "not_known": NOT_KNOWN,
    }  # fmt: skip
    return {
        "farms": farms,
        "seed": seed,
        **{name: [asdict(cell) | measure(rng, cell, farms) for cell in cells] for name, cells in groups.items()},
    }


def measure(rng: np.random.Generator, cell: Cell, farms: int) -> dict[str, float]:
    """Simulate farms of one cell and judge their intervals; NaN becomes 0 where nothing is told."""
    counts, treated, usual = _simulated(rng, cell, farms)
    place = np.broadcast_to(np.maximum(cell.place - 1, 0), treated.shape)
    found = work_effects(counts, np.full(counts.shape, DAYS), treated, cell.weeks, place)
    told = (found.reason == "") & (found.compared | (cell.others == 0))
    if cell.when_high:
        told &= _was_high(counts[:, :, cell.before - 1], treated, usual)
    interval, truth = found.interval(LEVEL), float(np.log(cell.left))
    low, high = np.log(interval.low[told]), np.log(interval.high[told])
    number = max(int(told.sum()), 1)
    return {
        "covers": float(((low <= truth) & (high >= truth)).sum() / number),
        "bias": float((found.log_ratio[told] - truth).sum() / number),
        "factor": float(np.exp(np.median(high - low) / 2)) if told.any() else 0.0,
        "shown": float((high < 0).sum() / number),
        "shown_more": float((low > 0).sum() / number),
        "told": float(told.mean()),
    }


def _simulated(rng: np.random.Generator, cell: Cell, farms: int) -> tuple[Floats, Bools, Floats]:
    """Draw counts (stations of log sd 0.6), changed by the work; give too who is treated and what is usual."""
    n_stations, n_weeks = cell.stations + cell.others, cell.before + cell.after
    treated = np.broadcast_to(np.arange(n_stations) < cell.stations, (farms, n_stations))
    shock = _shocks(rng, (farms, n_weeks), FARM_SHOCK, cell.correlation)[:, None, :]
    own = np.stack(
        [_shocks(rng, (farms, n_weeks), cell.own, cell.own_correlation) for _place in range(cell.places)], axis=1
    )[:, cell.place]
    worked = np.log(cell.left) * (treated[:, :, None] & (cell.weeks >= 0))
    usual = cell.mean * np.exp(STATION_SCATTER * rng.standard_normal((farms, n_stations)) - STATION_SCATTER**2 / 2)
    counts = draw_counts(rng, usual[:, :, None] * np.exp(shock + own + worked), k=cell.k)
    return np.where(rng.random(counts.shape) < cell.missing, np.nan, counts), treated, usual


def _shocks(rng: np.random.Generator, shape: tuple[int, int], sd: float, correlation: float) -> Floats:
    """Draw a stationary series a farm: x_t = r x_(t-1) + sqrt(1 - r^2) e_t."""
    noise = rng.standard_normal(shape)
    series = noise.copy()
    for week in range(1, shape[1]):
        series[:, week] = correlation * series[:, week - 1] + np.sqrt(1 - correlation**2) * noise[:, week]
    return sd * series


def _was_high(last: Floats, treated: Bools, usual: Floats) -> Bools:
    """Mark farms whose treated side caught a third more in the last week before than it usually does."""
    caught, expected = (np.where(treated, each, 0.0).sum(axis=1) for each in (last, usual))
    return np.asarray(caught > HIGH * expected, np.bool_)
