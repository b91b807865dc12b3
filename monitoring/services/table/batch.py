"""The readings of a table that are on their way in: which station each is of, which ids it gets, what is wrong."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from uuid import UUID

from django.utils.translation import gettext_lazy as _

from monitoring.models.reading import LEAVES_IT_UP
from monitoring.rules.readings import broken_rules
from monitoring.rules.table import Columns, Fault, ReadingTable
from monitoring.services.ground import Ground
from monitoring.services.ids import Named, back, front

SENT_TWICE = _("Row {row} has the same id. Give each reading an id of its own, or leave the ids away.")
SAME_CARD = _(
    "Row {row} is of the same station and days. Delete one of the two; where two cards or traps hang there, number "
    "them 1 and 2 in a column called device."
)
DOWN_ALREADY = _("Row {row} takes down the same card or trap. Correct the days, or delete one of the two.")


@dataclass
class Batch:
    """A table on its way in. `at` is each reading's station in `ground.stations`; `good` the places still to be stored.

    Ids are text. `own_ids` follow from station, days and device; `reading_ids` are the sender's where given;
    `placement_ids` are None for what hangs nowhere. Where a table is stored in parts, `since` is the chain's entry of
    the first: what has one of the table's ids since then came with another part, and no row is compared with it.
    """

    table: ReadingTable
    ground: Ground
    at: list[int]
    faults: list[Fault]
    good: list[int] = field(default_factory=list)
    own_ids: list[str] = field(default_factory=list)
    reading_ids: list[str] = field(default_factory=list)
    placement_ids: list[str | None] = field(default_factory=list)
    known: list[int] = field(default_factory=list)
    since: int | None = None

    @property
    def columns(self) -> Columns:
        return self.table.columns

    @cached_property
    def named(self) -> frozenset[str]:
        """All ids that the table has for its rows and for what they were read from."""
        return frozenset(self.own_ids) | frozenset(self.reading_ids) | frozenset(filter(None, self.placement_ids))

    def part(self, places: range, since: int) -> "Batch":
        """Some rows of the table, to be stored by themselves. Judged they are already, beside all the others."""
        good = [place for place in self.good if place in places]
        faults = [fault for fault in self.faults if fault.place in places]
        part = replace(self, good=good, faults=faults, known=[], since=since)
        part.__dict__["named"] = self.named
        return part

    def is_of_another_part(self, row_id: UUID, entry: int) -> bool:
        return self.since is not None and entry >= self.since and str(row_id) in self.named

    def drop(self, faults: Iterable[Fault]) -> None:
        """Take what is wrong out of the good."""
        added = list(faults)
        self.faults += added
        wrong = {fault.place for fault in added}
        if wrong:
            self.good = [place for place in self.good if place not in wrong]


def batch_of(table: ReadingTable, ground: Ground) -> Batch:
    """The table with its stations found, its rules checked, and its ids made."""
    columns = table.columns
    at = ground.places_of(columns.station)
    wrong = {fault.place for fault in table.faults}
    faults = [*table.faults, *broken_rules(columns, at, ground.stations, ground.calendar, skip=wrong)]
    wrong |= {fault.place for fault in faults}
    batch = Batch(table, ground, at, faults, [place for place in range(len(columns)) if place not in wrong])
    _name(batch)
    batch.drop(_twice(batch))
    return batch


def _name(batch: Batch) -> None:
    """Make the good rows' ids. A card or trap that a row without a day of hanging is about isn't known."""
    columns, at = batch.columns, batch.at
    fronts = [front(UUID(station.id)) for station in batch.ground.stations] + [""]
    keys = list(zip(columns.hung_on, columns.taken_on, columns.device, strict=True))
    ends = dict.fromkeys(keys, ("", None)) | {key: _ends(*key) for key in {keys[place] for place in batch.good}}
    pairs = [(fronts[place], *ends[key]) for place, key in zip(at, keys, strict=True)]
    batch.own_ids = [begin + reading for begin, reading, _ in pairs]
    batch.reading_ids = [given or own for given, own in zip(columns.id, batch.own_ids, strict=True)]
    batch.placement_ids = [hanging and begin + hanging for begin, _, hanging in pairs]
    _leave_out_the_replaced(batch)


def _ends(hung_on: date | None, taken_on: date | None, device: int) -> tuple[str, str | None]:
    """How the ids of a reading of these days end, and of what it was read from."""
    hanging = back(Named.PLACEMENT, hung_on, None, device - 1) if hung_on else None
    return back(Named.READING, hung_on, taken_on, device - 1), hanging


def _leave_out_the_replaced(batch: Batch) -> None:
    """A card that was left up, that no row takes down, and after which a fresh one hung, hangs no more.

    It would stand on the next round's sheet beside the fresh one; its row is kept without it.
    """
    columns, ids = batch.columns, batch.placement_ids
    left = [place for place in batch.good if columns.reason[place] in LEAVES_IT_UP and ids[place] is not None]
    if not left:
        return
    down = {ids[place] for place in batch.good if columns.reason[place] not in LEAVES_IT_UP}
    newest: dict[tuple[int, int], date] = {}
    for place in batch.good:
        hung_on, where = columns.hung_on[place], (batch.at[place], columns.device[place])
        if hung_on is not None and hung_on > newest.get(where, date.min):
            newest[where] = hung_on
    for place in left:
        hung_on, where = columns.hung_on[place], (batch.at[place], columns.device[place])
        if ids[place] not in down and hung_on != newest[where]:
            ids[place] = None


def _twice(batch: Batch) -> list[Fault]:
    """Rows of one table that can't both be right: one id twice, one card on the same days, one card taken down twice.

    The later of the two is named.
    """
    columns = batch.columns
    faults = _repeated(batch, batch.reading_ids, "id", "sent_twice", SENT_TWICE) if any(columns.id) else []
    # The ids that we make repeat only with the station and the days.
    faults += _repeated(batch, batch.own_ids, "station", "same_card", SAME_CARD)
    named = {fault.place for fault in faults}
    ends: list[object] = [*batch.placement_ids]
    if any(columns.reason) or None in ends:
        ends = [
            placement if placement is not None and reason not in LEAVES_IT_UP else place
            for place, (placement, reason) in enumerate(zip(batch.placement_ids, columns.reason, strict=True))
        ]
    return faults + [
        fault for fault in _repeated(batch, ends, "hung_on", "down_already", DOWN_ALREADY) if fault.place not in named
    ]


def _repeated(batch: Batch, keys: Sequence[object], column: str, code: str, reason: object) -> list[Fault]:
    if len(set(keys)) == len(keys):
        return []
    first: dict[object, int] = {}
    faults = []
    for place in batch.good:
        before = first.setdefault(keys[place], place)
        if before != place:
            text = str(reason).format(row=batch.table.row(before))
            faults.append(Fault(place, column, code, text))
    return faults


def span(days: Iterable[date | None]) -> tuple[date, date] | None:
    """The first and the last of some days; None where there are none."""
    known = {day for day in days if day is not None}
    return (min(known), max(known)) if known else None
