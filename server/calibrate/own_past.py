"""After how many weeks does a level farm leave the limits of its own past, and how soon does one that rises?"""

from itertools import product
from typing import Any

import numpy as np

from monitoring.analysis.correlated_weeks import ALONE, WeekScatter
from monitoring.analysis.own_past import ABOVE, WITHIN, own_past
from monitoring.analysis.shapes import Floats, Words
from monitoring.analysis.simulated_farms import DOUBLES_EVERY_TWO_WEEKS, simulate_farms
from monitoring.analysis.week_scores import WEEKS_BEFORE, score_newest, windows_from
from server.calibrate.cells import PROCESSES, Row, over_cells, share
from server.calibrate.networks import Cell, earlier_quarter

# Three times the promised run length: one level farm in twenty is still within by then.
WEEKS, RISES = 150, 5
FARMS_AT_ONCE = 100
CELLS = tuple(
    Cell(stations, shock, correlation, WEEKS, missing)
    for stations, (shock, correlation), missing in product((5, 25), ((0.15, 0.0), (0.3, 0.0), (0.3, 0.5)), (0.0, 0.2))
)
QUICK = (Cell(5, 0.3, 0.0, WEEKS),)


def figures(farms: int, seed: int, *, quick: bool = False, processes: int = PROCESSES) -> dict[str, Any]:
    """Follow so many farms a cell for 150 weeks.

    "chart" has a row a cell, by what a large network lends and (`alone_`) without one: `run_length`, the weeks that
    level farms were told of over the number of first signals among them; `after_3` and `after_4`, the share of farms
    above their limits three and four weeks after they began to double every two weeks.
    """
    rows = over_cells(chart, QUICK if quick else CELLS, farms, seed, processes)
    return {"farms": farms, "seed": seed, "chart": rows}


def chart(rng: np.random.Generator, cell: Cell, farms: int) -> Row:
    """Follow the farms of a cell: level ones, and ones that rise after their past is full."""
    lent, season = earlier_quarter(rng, cell.network), WEEKS_BEFORE + RISES
    row = cell.row()
    level = simulate_farms(rng, cell.network, farms, cell.weeks, np.zeros(cell.weeks)).counts
    rise = DOUBLES_EVERY_TWO_WEEKS * np.maximum(np.arange(season) - WEEKS_BEFORE + 1.0, 0)
    rising = simulate_farms(rng, cell.network, farms, season, rise).counts
    for who, scatter in (("", lent), ("alone_", None)):
        row |= _run_length(f"{who}run_length", _words(level, scatter))
        words = _words(rising, scatter)[:, WEEKS_BEFORE:]
        for weeks in (3, 4):
            row |= share(f"{who}after_{weeks}", np.asarray((words[:, :weeks] == ABOVE).any(axis=1), np.bool_))
    return row


def _words(counts: Floats, scatter: WeekScatter | None) -> Words:
    """Give what is said of each week, (n_farms, n_weeks), some farms at once: their windows are large."""
    n_weeks = counts.shape[2]
    k = (scatter or ALONE).k
    parts = []
    for start in range(0, len(counts), FARMS_AT_ONCE):
        some = counts[start : start + FARMS_AT_ONCE]
        windows = windows_from(some, np.full(some.shape, 7.0), 7.0 * np.arange(n_weeks), k)
        parts.append(own_past(score_newest(windows, scatter), n_weeks).word)
    return np.concatenate(parts)


def _run_length(name: str, words: Words) -> Row:
    """Give the weeks told up to each farm's first signal, or to the end, over the number of first signals."""
    told, signal = words != "", (words != "") & (words != WITHIN)
    before = np.cumsum(signal, axis=1) - signal == 0
    weeks, signals = int((told & before).sum()), int(signal.any(axis=1).sum())
    length = weeks / max(signals, 1)
    return {name: length, f"{name}_error": length / max(signals, 1) ** 0.5}
