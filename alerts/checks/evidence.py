"""What a result rests on, beside its numbers: where most of it is, how the counts are marked, what wasn't counted."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from alerts.checks.figures import Figures
from alerts.checks.grid import Grid
from monitoring.analysis.hot_station import question_on_the_spot
from monitoring.analysis.shapes import Bools, Words

Evidence = dict[str, Any]
Lost = Mapping[tuple[int, str], list[dict[str, Any]]]  # by farm (its index) and method


def evidence_of(grid: Grid, figures: Figures) -> list[Evidence]:
    """The evidence of each owner."""
    places, flags = _places(grid, figures), _names_of_flags(figures.flags)
    reasons = figures.why_no_interval.tolist()
    return [
        {"places": places[owner], "flags": marked, "interval": reason}
        for owner, (marked, reason) in enumerate(zip(flags, reasons, strict=True))
    ]


def evidence_of_farms(grid: Grid, figures: Figures, reason: Words) -> list[Evidence]:
    """As `evidence_of`, with what was hung and not counted, and why nothing is said of a farm's weeks."""
    lost, owners = lost_this_week(grid), figures.owners
    places = zip(owners.farm.tolist(), owners.method.tolist(), strict=True)
    return [
        evidence | {"trend": why, "missing": lost.get(place, [])}
        for evidence, why, place in zip(evidence_of(grid, figures), reason.tolist(), places, strict=True)
    ]


def lost_this_week(grid: Grid) -> Lost:
    """For each farm and method the stations that were not counted this week, with the reason given."""
    arrays, found = grid.arrays, defaultdict(list)
    without = (grid.this_week & ~grid.counted_this_week).nonzero()[0]
    lost = without[grid.station_weeks.devices[arrays.station[without], -1] == 0]
    reasons = arrays.reason[lost].tolist()
    for station, reason in zip(arrays.station[lost].tolist(), reasons, strict=True):
        place = int(arrays.station_farm[station]), str(arrays.station_method[station])
        number = int(arrays.station_number[station])
        found[place].append({"station": str(arrays.station_id[station]), "number": number, "reason": reason})
    for rows in found.values():
        rows.sort(key=lambda row: (row["number"], row["reason"]))
    return found


def _names_of_flags(flags: Mapping[str, Bools]) -> Iterable[list[str]]:
    """The names of each owner's flags, in order."""
    names = sorted(flags)
    marked = np.stack([flags[name] for name in names], axis=1)
    # Few sets of flags are different, and most are empty.
    different, which = np.unique(marked, axis=0, return_inverse=True)
    lists = [[name for name, one in zip(names, row, strict=True) if one] for row in different.tolist()]
    return [lists[number] for number in which.ravel().tolist()]


def _places(grid: Grid, figures: Figures) -> Mapping[int, list[dict[str, Any]]]:
    """The stations that hold most of each owner's catch, most first, with what their siting asks."""
    arrays, hot = grid.arrays, figures.hot
    holders = np.flatnonzero(hot.holds_most)
    holders = holders[np.lexsort((-hot.share[holders], hot.owner[holders]))]
    near, windy = arrays.station_near[holders], arrays.station_windy[holders]
    columns = (
        hot.owner[holders], holders, arrays.station_method[holders], arrays.station_number[holders],
        hot.share[holders], hot.weeks_at_top[holders], near, windy, question_on_the_spot(windy, near),
    )  # fmt: skip
    found: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for owner, station, method, number, share, weeks, by, wind, question in zip(
        *(column.tolist() for column in columns), strict=True
    ):
        found[owner].append(
            {
                "station": str(arrays.station_id[station]),
                "facility": str(arrays.station_facility[station]),
                "method": method,
                "number": number,
                "share": round(share, 4),
                "weeks_at_top": weeks,
                "near": by,
                "windy": wind,
                "question": question,
            }
        )
    return found
