"""Do forecasts hold what they promise, and do they beat this week's level carried forward? On simulated farms."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from monitoring.analysis.correlated_weeks import PRINTED, WeekScatter
from monitoring.analysis.forecast import Forecasts, forecast
from monitoring.analysis.shapes import Bools, Floats, Words
from monitoring.analysis.simulated_counts import draw_counts
from monitoring.analysis.simulated_farms import FALLING, LEVEL, RISING, mixed_growth, simulate_farms
from server.calibrate.cells import PROCESSES, Row, over_cells, rng_of, share
from server.calibrate.networks import GRID, Cell, earlier_quarter, weeks_of
from server.calibrate.scores import Reliability, crps_of_t

PROMISED = 0.8
AHEAD = 2
# The printed figures, for farms whose network is too small, in these cells too.
ALONE = tuple(cell for cell in GRID if cell.stations == 9 and cell.shock and not cell.missing)
QUICK = (Cell(9, 0.3, 0.0, 6, 0.0), Cell(9, 0.3, 0.0, 8, 0.0), Cell(25, 0.15, 0.5, 12, 0.2))
# The farms that the fans show: growth of the log a week from the middle of twelve weeks on.
FANS = {LEVEL: 0.0, RISING: 0.25, FALLING: -0.25}
FAN_WEEKS, FAN_AHEAD = 12, (1.0, 2.0, 3.0)


def figures(farms: int, seed: int, *, quick: bool = False, processes: int = PROCESSES) -> dict[str, Any]:
    """Measure forecasts two weeks ahead on so many farms a cell, 40 % level, 30 % rising and 30 % falling.

    Each row of "two_weeks" has a cell, the shares of 80 % intervals that hold what a full round then counts (`covers`,
    and of one kind alone `level`, `rising`, `falling`), `gain` (how much less the CRPS of the log is than that of this
    week's level carried forward with its own scatter), `over_now` and `over_in_two_weeks` (expected calibration errors
    of the probability that the true level now, and the mean counted then, is over an action level). "printed" has the
    same for farms without a network. "reliability" sorts the probabilities of all cells by tenths, by the weeks of
    the window. "fans" are three farms, drawn.
    """

    def rows(measure: Any, cells: tuple[Cell, ...]) -> list[Row]:
        return over_cells(measure, QUICK if quick else cells, farms, seed, processes)

    found = {"two_weeks": rows(borrowing, GRID), "printed": rows(alone, ALONE)}
    reliability = _together(found["two_weeks"])
    for row in [*found["two_weeks"], *found["printed"]]:
        del row["steps"]
    return {"farms": farms, "seed": seed, **found, "reliability": reliability, "fans": _fans(seed)}


def borrowing(rng: np.random.Generator, cell: Cell, farms: int) -> Row:
    """Judge the forecasts of farms with a large network."""
    return _judged(rng, cell, farms, earlier_quarter(rng, cell.network))


def alone(rng: np.random.Generator, cell: Cell, farms: int) -> Row:
    """Judge the forecasts of farms without a network."""
    return _judged(rng, cell, farms, None)


def _judged(rng: np.random.Generator, cell: Cell, farms: int, lent: WeekScatter | None) -> Row:
    came = _Came.of(rng, cell, farms)
    weeks = weeks_of(came.counts, (lent or PRINTED).k)
    ahead = forecast(weeks, lent, ahead=(0.0, float(AHEAD)))
    carried, scatter = carried_forward(came.means)
    some = weeks.told & weeks.newest_counted & (scatter > 0)
    low, high = ahead.interval(PROMISED)
    holds = (low[:, 1] <= np.exp(came.later)) & (np.exp(came.later) <= high[:, 1])
    row = cell.row(told=float(some.mean()), **share("covers", holds[some]))
    for kind in (LEVEL, RISING, FALLING):
        row |= share(kind, holds[some & (came.kind == kind)])
    own = np.full(some.sum(), cell.weeks - 2.0)
    plain = crps_of_t(carried[some], scatter[some], own, came.later[some])
    ours = crps_of_t(ahead.middle[some, 1], ahead.spread[some, 1], ahead.degrees[some], came.later[some])
    return row | _gain(ours, plain) | _honesty(rng, came, ahead, some)


@dataclass(frozen=True)
class _Came:
    """Farms up to now and what came: `counts` (n_farms, n_stations, n_weeks) of the window, the logs of the true level
    `now` and of the mean that a full round counts `later`, both on the stations that were counted in the newest week;
    `means` (n_farms, n_weeks), the log of each week's mean; `kind` of each farm.
    """

    counts: Floats
    means: Floats
    now: Floats
    later: Floats
    kind: Words

    @classmethod
    def of(cls, rng: np.random.Generator, cell: Cell, farms: int) -> "_Came":
        growth, kind = mixed_growth(rng, farms, cell.weeks, ahead=AHEAD)
        drawn = simulate_farms(rng, cell.network, farms, cell.weeks + AHEAD, growth)
        counts = drawn.counts[:, :, : cell.weeks]
        seen = ~np.isnan(counts[:, :, -1])
        true = np.exp(drawn.places[:, :, None] + drawn.weeks[:, None, [cell.weeks - 1, -1]])
        found = draw_counts(rng, true[:, :, 1], k=cell.network.k)
        found = np.where(seen, found, np.nan)
        means = np.stack([_log_mean(counts[:, :, week]) for week in range(cell.weeks)], axis=1)
        return cls(counts, means, _log_mean(np.where(seen, true[:, :, 0], np.nan)), _log_mean(found), kind)


def _log_mean(counts: Floats) -> Floats:
    """Give the log of the mean over stations; half a catch where none was found, NaN where nobody looked."""
    found = ~np.isnan(counts)
    mean = np.where(found, counts, 0.0).sum(axis=1) / np.maximum(found.sum(axis=1), 1)
    return np.where(found.any(axis=1), np.log(np.maximum(mean, 0.5 / counts.shape[1])), np.nan)


def carried_forward(means: Floats) -> tuple[Floats, Floats]:
    """Give what is to be beaten: the newest week, and how far weeks two apart differed in the farm's own window.

    Parameters
    ----------
    means : (n_farms, n_weeks) float -- log means; NaN = not counted.

    Returns
    -------
    (n_farms,) float and (n_farms,) float -- the newest log mean, and the root mean square of differences; 0 where
    there is none.
    """
    apart = means[:, AHEAD:] - means[:, :-AHEAD]
    both = ~np.isnan(apart)
    squares = np.where(both, apart, 0.0) ** 2
    return means[:, -1], np.sqrt(squares.sum(axis=1) / np.maximum(both.sum(axis=1), 1))


def _gain(ours: Floats, plain: Floats) -> Row:
    """Give 1 - ours / plain and its standard error (of a ratio of means, by its first derivatives)."""
    ratio = ours.mean() / plain.mean()
    error = (ours - ratio * plain).std() / plain.mean() / np.sqrt(ours.size)
    return {"gain": float(1 - ratio), "gain_error": float(error)}


def _honesty(rng: np.random.Generator, came: _Came, ahead: Forecasts, some: Bools) -> Row:
    """Judge the probabilities of being over an action level from half to twice the middle of what came."""
    level = np.exp(np.median(came.later[some])) * rng.uniform(0.5, 2.0, some.size)
    probability = ahead.probability_over(level)[some]
    over = np.stack([came.now, came.later], axis=1)[some] > np.log(level[some])[:, None]
    now, later = (Reliability.of(probability[:, place], over[:, place]) for place in (0, 1))
    return {
        "over_now": now.error,
        "over_now_error": now.chance,
        "over_in_two_weeks": later.error,
        "over_in_two_weeks_error": later.chance,
        "steps": (now, later),
    }


def _together(rows: list[Row]) -> list[Row]:
    """Give the tenths of all cells with as many weeks."""
    found = []
    for weeks in sorted({row["weeks"] for row in rows}):
        steps = [row["steps"] for row in rows if row["weeks"] == weeks]
        for name, each in zip(("over_now", "over_in_two_weeks"), zip(*steps, strict=True), strict=True):
            all_cells = Reliability.together(list(each))
            columns = ("number", "told", "came")
            tenths = {column: getattr(all_cells, column).tolist() for column in columns}
            found.append({"weeks": weeks, "what": name, "error": all_cells.error} | tenths)
    return found


def _fans(seed: int) -> list[Row]:
    """Draw one farm of each kind: its weekly means, the forecast three weeks ahead, and what then came."""
    cell = Cell(weeks=FAN_WEEKS)
    rng = rng_of(seed, "fans")
    lent, season = earlier_quarter(rng, cell.network), FAN_WEEKS + len(FAN_AHEAD)
    change = np.maximum(np.arange(season) - FAN_WEEKS / 2, 0.0)
    growth = np.array(list(FANS.values()))[:, None] * change
    counts = simulate_farms(rng, cell.network, len(FANS), season, growth).counts
    ahead = forecast(weeks_of(counts[:, :, :FAN_WEEKS], lent.k), lent, ahead=FAN_AHEAD)
    low, high = ahead.interval(PROMISED)
    means = counts.mean(axis=1)
    return [
        {
            "kind": kind,
            "counted": means[farm, :FAN_WEEKS].tolist(),
            "low": low[farm].tolist(),
            "median": ahead.median[farm].tolist(),
            "high": high[farm].tolist(),
            "came": means[farm, FAN_WEEKS:].tolist(),
        }
        for farm, kind in enumerate(FANS)
    ]
