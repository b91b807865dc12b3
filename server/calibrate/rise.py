"""How often does the farm's own test call a level farm rising, and how soon does it name one that rises?"""

from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np

from monitoring.analysis.correlated_weeks import PRINTED, WeekScatter
from monitoring.analysis.farm_weeks import FarmWeeks
from monitoring.analysis.rise import find_rises
from monitoring.analysis.shapes import Bools, Floats
from monitoring.analysis.simulated_farms import rise_of, simulate_farms
from server.calibrate.cells import PROCESSES, Row, over_cells, share
from server.calibrate.networks import GRID, Cell, earlier_quarter, weeks_of

ALARM = 0.05
# A farm that begins to rise is looked at in so many weekly checks.
CHECKS = 3
# Standard deviation of the log of shocks where farms are unlike.
UNLIKE = 0.5
# Catch of a mean station in a week; everywhere else it is 40.
CATCHES = (1.0, 3.0, 10.0, 40.0)

_KINDS, _LASTS, _LOST = ((9, 0.3), (25, 0.3), (9, 0.15)), (0.0, 0.5), (0.0, 0.2)
# With lost cards too, where weeks are not correlated; the bars are for full rounds.
POWER = tuple(
    Cell(*kind, lasts, weeks, lost)
    for kind, lasts, weeks, lost in product(_KINDS, _LASTS, (8, 12), _LOST)
    if not (lasts and lost)
)
UNLIKE_CELLS = tuple(
    Cell(many, 0.3, lasts, weeks, lost) for many, lasts, weeks, lost in product((5, 9, 25), _LASTS, (8, 12), _LOST)
)
FEW_STATIONS = tuple(Cell(stations=many) for many in (5, 9))
QUICK = (Cell(9, 0.3, 0.0, 8, 0.0), Cell(9, 0.15, 0.5, 12, 0.2))
QUICK_POWER = (Cell(9, 0.3, 0.0, 8, 0.0), Cell(25, 0.3, 0.5, 12, 0.0))


def figures(farms: int, seed: int, *, quick: bool = False, processes: int = PROCESSES) -> dict[str, Any]:
    """Measure the test on so many farms a cell; each row has a cell, shares and their standard errors.

    "false_alarms": the share of level farms called rising in one check, with figures of a large network (`network`)
    and with the printed ones (`printed`). "power": the share named within three weekly checks of farms that double
    every two weeks from the week before the first check on (`network`, `printed`), and of level farms meanwhile
    (`level_network`, `level_printed`); with the network's also after one and two checks (`network_after_1` and so on).
    "unlike": false alarms in the `quietest` and the `noisiest` third by the true shock, where the log of the farms'
    shocks scatters by 0.5. "few_catches": false alarms by the catch of a mean station (`catch_1` and so on), among the
    farms of which something is told (`told_1`).
    """

    def rows(measure: Any, cells: tuple[Cell, ...], few: tuple[Cell, ...]) -> list[Row]:
        return over_cells(measure, few if quick else cells, farms, seed, processes)

    return {
        "farms": farms,
        "seed": seed,
        "false_alarms": rows(false_alarms, GRID, QUICK),
        "power": rows(power, POWER, QUICK_POWER),
        "unlike": rows(unlike, UNLIKE_CELLS, QUICK[:1]),
        "few_catches": rows(few_catches, FEW_STATIONS, FEW_STATIONS[-1:]),
    }


def false_alarms(rng: np.random.Generator, cell: Cell, farms: int) -> Row:
    """Test level farms once."""
    lent = earlier_quarter(rng, cell.network)
    counts = simulate_farms(rng, cell.network, farms, cell.weeks, np.zeros(cell.weeks)).counts
    return cell.row(**_false("network", counts, lent), **_false("printed", counts, None))


def power(rng: np.random.Generator, cell: Cell, farms: int) -> Row:
    """Test farms that begin to rise, and level ones, in three weekly checks."""
    lent, season = earlier_quarter(rng, cell.network), cell.weeks + CHECKS
    row = cell.row()
    for which, growth in (("", rise_of(season, lasts=CHECKS)), ("level_", np.zeros(season))):
        counts = simulate_farms(rng, cell.network, farms, season, growth).counts
        *earlier, last = _named(counts, cell.weeks, lent)
        row |= share(f"{which}network", last) | share(f"{which}printed", _named(counts, cell.weeks, None)[-1])
        for check, named in enumerate(earlier, start=1):
            row |= share(f"{which}network_after_{check}", named)
    return row


def unlike(rng: np.random.Generator, cell: Cell, farms: int) -> Row:
    """Test level farms once, where some are quiet and some noisy."""
    network = replace(cell.network, unlike=UNLIKE)
    lent = earlier_quarter(rng, network)
    drawn = simulate_farms(rng, network, farms, cell.weeks, np.zeros(cell.weeks))
    first, second = np.quantile(drawn.shocks, [1 / 3, 2 / 3])
    quiet, noisy = drawn.shocks <= first, drawn.shocks > second
    return cell.row(
        **_false("quietest", drawn.counts[quiet], lent),
        **_false("noisiest", drawn.counts[noisy], lent),
        **_false("all", drawn.counts, lent),
    )


def few_catches(rng: np.random.Generator, cell: Cell, farms: int) -> Row:
    """Test level farms once, by how much they catch."""
    row = cell.row()
    for catch in CATCHES:
        network = replace(cell.network, level=catch)
        lent = earlier_quarter(rng, network)
        counts = simulate_farms(rng, network, farms, cell.weeks, np.zeros(cell.weeks)).counts
        weeks = weeks_of(counts, lent.k)
        row[f"told_{catch:g}"] = float(weeks.told.mean())
        row |= _alarms(f"catch_{catch:g}", weeks, lent) if weeks.told.any() else {}
    return row


def _false(name: str, counts: Floats, lent: WeekScatter | None) -> Row:
    return _alarms(name, weeks_of(counts, (lent or PRINTED).k), lent)


def _alarms(name: str, weeks: FarmWeeks, lent: WeekScatter | None) -> Row:
    """Give the share called rising, of the farms of which anything is told this week."""
    p_value = find_rises(weeks, lent).p_rise
    return share(name, p_value[~np.isnan(p_value)] < ALARM)


def _named(counts: Floats, n_weeks: int, lent: WeekScatter | None) -> list[Bools]:
    """Mark, after each of the checks, the farms called rising by then, each with a window of so many weeks."""
    named = np.zeros(len(counts), np.bool_)
    after = []
    for check in range(1, CHECKS + 1):
        weeks = weeks_of(counts[:, :, check : check + n_weeks], (lent or PRINTED).k)
        named = named | (np.nan_to_num(find_rises(weeks, lent).p_rise, nan=1.0) < ALARM)
        after.append(named)
    return after
