"""Which of the readings sent are new, which are known, and which somebody else already made."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any
from uuid import UUID

from django.db import connection
from django.utils.translation import gettext_lazy as _

from monitoring.errors import AlreadyRead, ReadingDiffers
from monitoring.methods import LEG
from monitoring.models import Reading
from monitoring.models.reading import LEAVES_IT_UP, CorrectionKind
from monitoring.rules.readings import NOWHERE, StationFacts, broken_rules, day_text, leaves_it_up
from monitoring.rules.table import Columns, Fault, ReadingTable
from monitoring.services.ground import Ground
from monitoring.services.placing import Hanging, Hangings
from monitoring.services.reading import COUNTED, reading_values, says_the_same, sent_again, told

ID_MISSING = _("Give each reading an id of your own, a UUID, so that sending it again stores it once.")
SENT_TWICE = _("The same id stands at another reading of this round. Give each reading an id of its own.")
UNKNOWN_PLACEMENT = _("Nothing of this id hangs on this farm. Leave it away, or load the stations of the round again.")
PLACEMENT_ELSEWHERE = _("What this id names doesn't hang at {label}. Correct the station, or leave the id away.")
HUNG_DIFFERS = _("What hangs at {label} was hung on {hung}. Correct the day, or leave it away.")
READ_TWICE = _("Two readings of this round are of the same card or trap at {label}. Keep one of them.")
WHICH_PLACEMENT = _("{number} hang at {label}. Say which of them was read, by its id or the day when it was hung.")


COLUMNS = [column.column for column in Reading._meta.concrete_fields if column.column]
# What is stored under these ids, and of these days; marked where a later reading corrects it.
STORED = f"""
SELECT {", ".join(f"r.{column}" for column in COLUMNS)}, EXISTS (
    SELECT 1 FROM monitoring_reading later WHERE later.farm_id = %(farm)s AND later.corrects_id = r.id
) AS is_corrected
FROM monitoring_reading r
WHERE r.farm_id = %(farm)s AND (r.id = ANY(%(ids)s::uuid[]) OR r.taken_on = ANY(%(days)s::date[]))
"""  # noqa: S608 - our own columns


@dataclass
class New:
    """A reading to be stored: its place in the table, its values, and what it was read from (None for legs)."""

    place: int
    values: dict[str, Any]
    hanging: Hanging | None = None
    hung_on: date | None = None


@dataclass
class Taking:
    """The readings of one sending while they are sorted out. `known` maps a sent id to the stored reading's."""

    table: ReadingTable
    ground: Ground
    hangings: Hangings
    stored: dict[UUID, Reading]
    same_day: list[Reading]
    new: list[New] = field(default_factory=list)
    known: dict[UUID, UUID] = field(default_factory=dict)
    differs: list[tuple[int, Reading]] = field(default_factory=list)
    already: list[tuple[int, Reading]] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

    def refuse(self, place: int, column: str, code: str, reason: Any) -> None:
        self.faults.append(Fault(place, column, code, str(reason)))

    def station_at(self, place: int) -> StationFacts | None:
        return self.ground.station_named(self.table.columns.station[place])


def sort_out(table: ReadingTable, ground: Ground, hangings: Hangings, *, replaced: UUID | None = None) -> Taking:
    """Sort every reading of the table; nothing is raised and nothing stored. One query.

    `replaced` is the reading that a correction replaces: what it says is no second person's word.
    """
    columns = table.columns
    stored, same_day = _stored(ground.farm.id, columns, replaced)
    taking = Taking(table, ground, hangings, stored, same_day, faults=list(table.faults))
    wrong, seen = {fault.place for fault in table.faults}, set()
    for place, sent_id in enumerate(columns.id):
        if sent_id is None and place not in wrong:
            taking.refuse(place, "id", "id_missing", ID_MISSING)
        elif sent_id in seen:
            taking.refuse(place, "id", "sent_twice", SENT_TWICE)
        elif place not in wrong:
            _sort_one(taking, place)
        seen.add(sent_id)
    _check(taking)
    return taking


def _stored(farm_id: UUID, columns: Columns, replaced: UUID | None) -> tuple[dict[UUID, Reading], list[Reading]]:
    """The readings that are stored under the ids sent, and the other current ones of the days sent."""
    ids = {UUID(each) for each in columns.id if each}
    days = {day for day in columns.taken_on if day is not None}
    if not ids and not days:
        return {}, []
    asked: dict[str, Any] = {"farm": farm_id, "ids": list(ids), "days": list(days)}
    with connection.cursor() as cursor:
        cursor.execute(STORED, asked)
        found = cursor.fetchall()
    rows = [Reading.from_db(connection.alias, COLUMNS, values) for *values, _is_corrected in found]
    corrected = {row.id for row, (*_values, is_corrected) in zip(rows, found, strict=True) if is_corrected}
    stored = {row.id: row for row in rows if row.id in ids}
    current = (row for row in rows if row.correction_kind != CorrectionKind.WITHDRAWN and row.taken_on in days)
    return stored, [row for row in current if row.id not in {*stored, *corrected, replaced}]


def raise_conflicts(taking: Taking) -> None:
    """Raise ReadingDiffers for a known id with other values, AlreadyRead for what somebody else read otherwise."""
    if taking.differs:
        errors = [_conflict_detail(taking, place, row, ReadingDiffers) for place, row in taking.differs]
        raise ReadingDiffers(errors=errors, label=_label(taking, taking.differs[0][0]))
    if taking.already:
        errors = [_conflict_detail(taking, place, row, AlreadyRead) for place, row in taking.already]
        first = [
            {"pointer": taking.table.path(place), **told(row, _label(taking, place))} for place, row in taking.already
        ]
        place, row = taking.already[0]
        raise AlreadyRead(
            errors=errors,
            label=_label(taking, place),
            taken_on=day_text(row.taken_on),
            reading=first[0],
            readings=first,
        )


def _sort_one(taking: Taking, place: int) -> None:
    station = taking.station_at(place)
    if station is None:
        return
    values = reading_values(taking.table, place, station, taking.ground.farm)
    values["id"] = sent_id = UUID(str(taking.table.columns.id[place]))
    stored = taking.stored.get(sent_id)
    if stored is not None:
        if sent_again(stored, values, taking.table, place):
            taking.known[sent_id] = stored.id
        else:
            taking.differs.append((place, stored))
        return
    reading = New(place, values, hung_on=taking.table.columns.hung_on[place])
    if station.method == LEG.code:
        _take(taking, reading, None)
    else:
        _place(taking, reading, station)


def _take(taking: Taking, reading: New, hanging: Hanging | None) -> None:
    """Keep a reading as new, unless somebody else sent the same: legs, or that a card or trap was left up."""
    twin = _twin(taking, reading) if hanging is None or leaves_it_up(reading.values["reason"]) else None
    if twin is not None:
        taking.same_day.remove(twin)
        taking.known[reading.values["id"]] = twin.id
        return
    if hanging is not None:
        reading.hanging, reading.hung_on = hanging, hanging.hung_on
        hanging.taken = hanging.taken or not leaves_it_up(reading.values["reason"])
    taking.new.append(reading)


def _twin(taking: Taking, reading: New) -> Reading | None:
    names = ("station_id", "taken_on", "pen", *COUNTED)
    return next((row for row in taking.same_day if says_the_same(row, reading.values, names)), None)


def _place(taking: Taking, reading: New, station: StationFacts) -> None:
    """Find what was read: by its id, by the day when it was hung, or as the one that hangs there."""
    place, columns = reading.place, taking.table.columns
    if columns.placement[place] is not None:
        _place_by_id(taking, reading, station)
    elif reading.hung_on is not None:
        _place_by_day(taking, reading)
    else:
        _place_by_station(taking, reading, station)


def _place_by_id(taking: Taking, reading: New, station: StationFacts) -> None:
    place = reading.place
    hanging = taking.hangings.by_id.get(UUID(str(taking.table.columns.placement[place])))
    if hanging is None and reading.hung_on is not None:
        # A phone that worked offline may hold an id that never arrived; the day says as much.
        _place_by_day(taking, reading)
    elif hanging is None:
        taking.refuse(place, "placement", "unknown_placement", UNKNOWN_PLACEMENT)
    elif str(hanging.station_id) != station.id:
        reason = str(PLACEMENT_ELSEWHERE).format(label=station.label)
        taking.refuse(place, "placement", "placement_elsewhere", reason)
    elif reading.hung_on not in (None, hanging.hung_on):
        reason = str(HUNG_DIFFERS).format(label=station.label, hung=day_text(hanging.hung_on))
        taking.refuse(place, "hung_on", "hung_differs", reason)
    elif hanging.is_up:
        _take(taking, reading, hanging)
    elif hanging.taken:
        taking.refuse(place, "placement", "read_twice", str(READ_TWICE).format(label=station.label))
    else:
        _read_before(taking, reading, [hanging])


def _place_by_day(taking: Taking, reading: New) -> None:
    station_id, day = reading.values["station_id"], reading.hung_on
    if day is None or day >= reading.values["taken_on"]:
        # The rules say what is wrong with these days.
        taking.new.append(reading)
        return
    hung = taking.hangings.hung(station_id, day)
    up = [each for each in hung if each.is_up]
    before = [each for each in hung if each.ended_by and not each.taken]
    if up:
        _take(taking, reading, up[0])
    elif before:
        _read_before(taking, reading, before)
    else:
        _take(taking, reading, taking.hangings.hang(station_id, day))


def _place_by_station(taking: Taking, reading: New, station: StationFacts) -> None:
    station_id, day = reading.values["station_id"], reading.values["taken_on"]
    up = taking.hangings.up(station_id, day)
    if len(up) > 1:
        reason = str(WHICH_PLACEMENT).format(number=len(up), label=station.label)
        taking.refuse(reading.place, "placement", "which_placement", reason)
    elif up:
        _take(taking, reading, up[0])
    else:
        _read_before(taking, reading, taking.hangings.taken_down(station_id, day))


def _read_before(taking: Taking, reading: New, hangings: Sequence[Hanging]) -> None:
    """What was read is down already: the same again is known, another count is for people to settle."""
    free = [each for each in hangings if not each.taken]
    stored = _readings_of(taking.ground.farm.id, free)
    names = ("station_id", "taken_on", *COUNTED)
    for hanging, row in stored:
        # Who didn't get to a card doesn't contradict who did.
        if leaves_it_up(reading.values["reason"]) or says_the_same(row, reading.values, names):
            hanging.taken = hanging.taken or not leaves_it_up(reading.values["reason"])
            taking.known[reading.values["id"]] = row.id
            return
    if stored:
        taking.already.append((reading.place, stored[0][1]))
    else:
        _take(taking, reading, None)


def _readings_of(farm_id: UUID, hangings: Sequence[Hanging]) -> list[tuple[Hanging, Reading]]:
    """The reading that took each of these down, as corrected since."""
    if not hangings:
        return []
    readings = Reading.objects.filter(farm_id=farm_id)
    ids = [each.id for each in hangings]
    current = {row.placement_id: row for row in _ending(readings.current().filter(placement_id__in=ids))}
    first = {row.id: row for row in readings.filter(id__in=[each.ended_by[0] for each in hangings if each.ended_by])}
    found = []
    for each in hangings:
        row = current.get(each.id) or (first.get(each.ended_by[0]) if each.ended_by else None)
        if row is not None:
            found.append((each, row))
    return found


def _ending(rows: Iterable[Reading]) -> list[Reading]:
    return [row for row in rows if row.reason not in LEAVES_IT_UP]


def _check(taking: Taking) -> None:
    """Judge what is new by the rules, now that it is known what hung where since when."""
    columns = taking.table.columns
    hung = list(columns.hung_on)
    for reading in taking.new:
        hung[reading.place] = reading.hung_on
    judged = replace(columns, hung_on=hung)
    at = taking.ground.places_of(columns.station)
    new = {reading.place for reading in taking.new}
    skip = [place for place in range(len(columns)) if place not in new and at[place] != NOWHERE]
    skip += _places(taking.faults)
    taking.faults += broken_rules(judged, at, taking.ground.stations, taking.ground.calendar, skip=set(skip))


def _places(faults: Iterable[Fault]) -> Collection[int]:
    return {fault.place for fault in faults}


def _label(taking: Taking, place: int) -> str:
    station = taking.station_at(place)
    return station.label if station else ""


def _conflict_detail(taking: Taking, place: int, row: Reading, error: type[ReadingDiffers | AlreadyRead]) -> Any:
    sentence = error(label=_label(taking, place), taken_on=day_text(row.taken_on))
    return taking.table.details([Fault(place, "", error.code, str(sentence))])[0]
