"""What a result rests on, beside its numbers: where most of it is, how the counts are marked, what wasn't counted.

Written as JSON: few of its parts are different, so it is put together from texts faster than from values.
"""

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from alerts.checks.figures import Figures
from alerts.checks.grid import Grid
from monitoring.analysis.hot_station import question_on_the_spot
from monitoring.analysis.shapes import Bools, Words

Evidence = str
NONE = "[]"
# Its words are codes, which JSON has as they are.
PLACE = (
    '{"station": "%s", "facility": "%s", "method": "%s", "number": %s, "share": %s, "weeks_at_top": %s, "near": "%s", '
    '"windy": %s, "question": "%s"}'
)
Lost = Mapping[tuple[int, str], list[dict[str, Any]]]  # by farm (its index) and method


def evidence_parts(grid: Grid, figures: Figures) -> list[str]:
    """What the evidence of each owner, farm or facility, begins with."""
    places = _places(grid, figures)
    columns = zip(_names_of_flags(figures.flags), _written(figures.why_no_interval), strict=True)
    return [
        f'"places": {places.get(owner, NONE)}, "flags": {flags}, "interval": {reason}'
        for owner, (flags, reason) in enumerate(columns)
    ]


def evidence_of_parts(parts: Iterable[str]) -> list[Evidence]:
    """The evidence of each facility: {"places": [...], "flags": [...], "interval": reason}."""
    return [f"{{{part}}}" for part in parts]


def evidence_of_farms(grid: Grid, figures: Figures, parts: Iterable[str], reason: Words) -> list[Evidence]:
    """Likewise of farms, with why nothing is said of their weeks ("trend"), and what was hung and not counted."""
    owners, lost = figures.owners, {place: json.dumps(rows) for place, rows in lost_this_week(grid).items()}
    places = zip(owners.farm.tolist(), owners.method.tolist(), strict=True)
    return [
        f'{{{part}, "trend": {why}, "missing": {lost.get(place, NONE)}}}'
        for part, why, place in zip(parts, _written(reason), places, strict=True)
    ]


def _written(words: Words) -> Sequence[str]:
    """Each word as JSON."""
    different, which = np.unique(words, return_inverse=True)
    texts = [json.dumps(word) for word in different.tolist()]
    return [texts[number] for number in which.tolist()]


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


def _names_of_flags(flags: Mapping[str, Bools]) -> Sequence[str]:
    """The names of each owner's flags, in order."""
    names = sorted(flags)
    # Few sets of flags are different, and most are empty: each set is a number, a bit a flag.
    bits = sum(flags[name].astype(np.int64) << place for place, name in enumerate(names))
    different, which = np.unique(bits, return_inverse=True)
    lists = [
        json.dumps([name for place, name in enumerate(names) if marked >> place & 1]) for marked in different.tolist()
    ]
    return [lists[number] for number in which.tolist()]


def _places(grid: Grid, figures: Figures) -> Mapping[int, str]:
    """The stations that hold most of each owner's catch, most first, with what their siting asks."""
    arrays, hot = grid.arrays, figures.hot
    holders = np.flatnonzero(hot.holds_most)
    holders = holders[np.lexsort((-hot.share[holders], hot.owner[holders]))]
    names = [str(each) for each in arrays.facility_ids]
    near, windy = arrays.station_near[holders], arrays.station_windy[holders]
    rows = zip(
        [arrays.station_id.text(station) for station in holders.tolist()],
        [names[place] for place in arrays.station_facility[holders].tolist()],
        arrays.station_method[holders].tolist(), arrays.station_number[holders].tolist(),
        [round(share, 4) for share in hot.share[holders].tolist()], hot.weeks_at_top[holders].tolist(), near.tolist(),
        np.where(windy, "true", "false").tolist(), question_on_the_spot(windy, near).tolist(), strict=True,
    )  # fmt: skip
    found: dict[int, list[str]] = defaultdict(list)
    for owner, row in zip(hot.owner[holders].tolist(), rows, strict=True):
        found[owner].append(PLACE % row)
    return {owner: f"[{', '.join(places)}]" for owner, places in found.items()}
