"""What of a table is stored already: as the same, as another count, or as a card that hangs."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from monitoring.models import Placement, Reading
from monitoring.models.reading import LEAVES_IT_UP, CorrectionKind
from monitoring.rules.readings import StationFacts, day_text
from monitoring.rules.table import Fault
from monitoring.services.reading import COUNTED, reading_values, says_the_same, sent_again
from monitoring.services.table.batch import Batch, span

DIFFERS = _(
    "{label}, {taken}: {stored} is stored for it. Nothing is overwritten: correct the row, or send the new count as a "
    "correction."
)
ALREADY_READ = _(
    "{label} was already taken down on {taken}, with {stored}. Correct the row, or send it as a correction."
)


@dataclass
class Stored:
    """What the farm has of the days that a table is about."""

    by_id: dict[UUID, Reading] = field(default_factory=dict)
    current: dict[tuple[UUID, date | None, date], list[Reading]] = field(default_factory=lambda: defaultdict(list))
    hung: dict[tuple[UUID, date], list[UUID]] = field(default_factory=lambda: defaultdict(list))
    placements: set[UUID] = field(default_factory=set)
    ended_by: dict[UUID, Reading] = field(default_factory=dict)
    taken: set[UUID] = field(default_factory=set)


def take_out_known(batch: Batch) -> set[str]:
    """Take out of the good what is stored already (`batch.known`), and name what is stored otherwise.

    Returns the ids of placements that are there already. Where the farm has nothing of these days, which is how most
    files come, that is two short queries.
    """
    stored = _stored(batch)
    if stored is None:
        return set()
    faults: list[Fault] = []
    new: list[int] = []
    for place in batch.good:
        verdict = _verdict(batch, place, stored)
        if isinstance(verdict, Fault):
            faults.append(verdict)
        elif verdict:
            batch.known.append(place)
        else:
            new.append(place)
    batch.good = new
    batch.faults += faults
    return {str(each) for each in stored.placements}


def _stored(batch: Batch) -> Stored | None:
    columns, farm_id = batch.columns, batch.ground.farm.id
    taken = span(columns.taken_on[place] for place in batch.good)
    hung = span(columns.hung_on[place] for place in batch.good)
    if taken is None:
        return None
    readings = Reading.objects.filter(farm_id=farm_id)
    placements = Placement.objects.filter(farm_id=farm_id, hung_on__range=hung or taken)
    of_these_days = Q(taken_on__range=taken)
    own = columns.id if any(columns.id) and readings.exists() else []
    given = [UUID(own[place]) for place in batch.good if own[place]] if own else []
    if given:
        of_these_days |= Q(id__in=given)
    if not readings.filter(of_these_days).exists() and not placements.exists():
        return None
    rows = list(readings.filter(of_these_days | Q(hung_on__range=hung or taken)).order_by("received_at", "id"))
    return _sorted(batch, rows, placements.order_by("hung_on", "id"))


def _sorted(batch: Batch, rows: Sequence[Reading], placements: Iterable[Placement]) -> Stored:
    stored = Stored(by_id={row.id: row for row in rows})
    corrected = {row.corrects_id for row in rows}
    for row in rows:
        if row.placement_id is not None and row.reason not in LEAVES_IT_UP:
            stored.ended_by[row.placement_id] = row
        stands = row.id not in corrected and row.correction_kind != CorrectionKind.WITHDRAWN
        if stands and not batch.is_of_another_part(row.id, row.entry):
            stored.current[row.station_id, row.hung_on, row.taken_on].append(row)
    for each in placements:
        stored.placements.add(each.id)
        if not batch.is_of_another_part(each.id, each.entry):
            stored.hung[each.station_id, each.hung_on].append(each.id)
    return stored


def _verdict(batch: Batch, place: int, stored: Stored) -> Fault | bool:
    """True for what is known, False for what is new, a fault for what is stored otherwise."""
    columns = batch.columns
    station = batch.ground.stations[batch.at[place]]
    values = reading_values(batch.table, place, station, batch.ground.farm)
    row = stored.by_id.get(UUID(batch.reading_ids[place]))
    names = ("station_id", "taken_on", *COUNTED)
    same = stored.current.get((values["station_id"], columns.hung_on[place], values["taken_on"]), [])
    if row is not None:
        if sent_again(row, values, batch.table, place) or any(says_the_same(each, values, names) for each in same):
            return True
        return _fault(place, station, row, "reading_differs", DIFFERS)
    number = columns.device[place] - 1
    if number < len(same):
        found = next((each for each in same if says_the_same(each, values, names)), None)
        if found is None:
            return _fault(place, station, same[number], "already_read", ALREADY_READ)
        batch.reading_ids[place] = str(found.id)
        return True
    return _hanging(batch, place, station, stored)


def _hanging(batch: Batch, place: int, station: StationFacts, stored: Stored) -> Fault | bool:
    """Read from what already hangs there since that day, where it does; a fault where that was taken down since."""
    columns = batch.columns
    hung_on, number = columns.hung_on[place], columns.device[place] - 1
    hung = stored.hung.get((UUID(station.id), hung_on), []) if hung_on else []
    if number >= len(hung):
        return False
    if columns.reason[place] in LEAVES_IT_UP:
        batch.placement_ids[place] = str(hung[number])
        return False
    up = [each for each in hung if each not in stored.ended_by and each not in stored.taken]
    if not up:
        row = next(stored.ended_by[each] for each in (hung[number], *hung) if each in stored.ended_by)
        return _fault(place, station, row, "already_read", ALREADY_READ)
    # Several that hang since one day are alike: the first is as good as another.
    chosen = hung[number] if hung[number] in up else up[0]
    batch.placement_ids[place] = str(chosen)
    stored.taken.add(chosen)
    return False


def _fault(place: int, station: StationFacts, row: Reading, code: str, reason: Any) -> Fault:
    text = str(reason).format(label=station.label, taken=day_text(row.taken_on), stored=told(row))
    return Fault(place, "count", code, text)


def told(row: Reading) -> str:
    """What a stored reading says, in a word or a number."""
    if row.count is None:
        return str(row.get_reason_display() or _("nothing"))
    return f"{row.count}" if not row.at_least else str(_("at least {count}")).format(count=row.count)
