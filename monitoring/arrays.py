"""The readings of many farms as NumPy columns, in one read: what the weekly check looks at.

PostgreSQL sends one row of arrays in its binary form, so that 660,000 readings are turned into columns without a loop:
an array without NULLs is a header and then, for each element, its length and its bytes.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, fields, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any, overload
from uuid import UUID

import numpy as np
import psycopg
from django.db import connections
from numpy.typing import NDArray

from farms.lookups import array_of
from farms.models.farm import HOUSING_UNITS
from monitoring.analysis.shapes import Bools, Days, Floats, Ints, Words
from monitoring.analysis.weeks import monday_of
from monitoring.methods import METHODS
from monitoring.models.reading import How, NoCount
from monitoring.models.station import Near
from monitoring.rules.readings import MOST_DAYS_UP

METHOD_CODES = np.array(list(METHODS))
HOW_CODES = np.array(How.values)
REASON_CODES = np.array(["", *NoCount.values])
NEAR_CODES = np.array(Near.values)
LATE_AFTER = 14  # days
COLD_BELOW = 15  # degrees Celsius: below it stable flies stop feeding (a review, Animals 2023, 13(24), 3847)
# The day taken travels in 16 bits, counted from the first day asked for.
LONGEST_SPAN = timedelta(weeks=9_000)
HALF_OF_MOST_DAYS_UP = timedelta(days=MOST_DAYS_UP // 2 + 1)
NEVER = datetime(9999, 1, 1, tzinfo=UTC)
NO_DAY = -(2**31)  # stands for an unknown day on the way here
# The marks of a reading, bits of one number: yes or no, then two places in lists of codes, then the part counted.
AT_LEAST, SPRAYED, LATE, COLD, ON_ANIMALS, HOW, REASON, PART = 1, 2, 4, 8, 16, 32, 128, 1024
WHOLE = 10_000  # a part is sent in ten-thousandths, a whole card as 0


@dataclass(frozen=True)
class IdsAsSent(Sequence[UUID]):
    """UUIDs, each made when somebody asks for it: of some thousand stations a check names a few."""

    sent: Sequence[bytes]

    def __len__(self) -> int:
        return len(self.sent)

    @overload
    def __getitem__(self, place: int) -> UUID: ...
    @overload
    def __getitem__(self, place: slice) -> "IdsAsSent": ...
    def __getitem__(self, place: int | slice) -> "UUID | IdsAsSent":
        found = self.sent[place]
        return UUID(bytes=found) if isinstance(found, bytes) else IdsAsSent(found)

    def text(self, place: int) -> str:
        """One of them as text, without a UUID on the way."""
        digits = self.sent[place].hex()
        return f"{digits[:8]}-{digits[8:12]}-{digits[12:16]}-{digits[16:20]}-{digits[20:]}"


@dataclass(frozen=True)
class CheckArrays:
    """Current readings, one entry a reading, and the tables that they point into.

    `station_*` (n_stations,): every station in use in the weeks asked for, also one without a reading, in order of
    farm, method and id, which is that in which they were added; `station_farm` is an index into `farm_ids`,
    `station_facility` into `facility_ids`; siting as of the last week, `station_reach` true where it is confirmed that
    it hangs out of reach, `station_housing` where animals are housed. `station_squares`: the flies on each animal of
    the last week's leg counts, squared and summed up; NaN where there is no such count.
    `station` (n,) is an index into the stations, `week` the Monday, `middle` the middle day of the exposure, `count`
    NaN where there is none (then `reason` says why), `exposure` days up or animals looked at, NaN where nothing says.
    `late`: received more than 14 days after it was taken. `cold`: a leg count on a day below 15 degrees Celsius, by the
    farm's own temperatures before its region's.
    `sprayed`: on animals sprayed or poured that week.
    """

    farm_ids: tuple[UUID, ...]
    facility_ids: tuple[UUID, ...]
    station_id: IdsAsSent
    station_farm: Ints
    station_facility: Ints
    station_method: Words
    station_number: Ints
    station_since: Days
    station_until: Days
    station_near: Words
    station_windy: Bools
    station_reach: Bools
    station_housing: Bools
    station_squares: Floats
    station: Ints
    week: Days
    middle: Days
    count: Floats
    fraction: Floats
    exposure: Floats
    at_least: Bools
    how: Words
    reason: Words
    sprayed: Bools
    late: Bools
    cold: Bools

    def of_stations(self, which: Bools) -> "CheckArrays":
        """Some of the stations, by mark, with their readings; the tables of farms and facilities stay as they are."""
        read = which[self.station]
        ids = IdsAsSent([self.station_id.sent[station] for station in np.flatnonzero(which).tolist()])
        stations = {name: getattr(self, name)[which] for name in STATION_COLUMNS if name != "station_id"}
        readings = {name: getattr(self, name)[read] for name in READING_COLUMNS}
        numbered = (np.cumsum(which) - 1)[readings["station"]]
        return replace(self, **stations, **(readings | {"station": numbered}), station_id=ids)

    def since(self, first_week: date) -> "CheckArrays":
        """As if they had been read from a later week (its Monday) on."""
        first = np.datetime64(first_week, "D")
        some = self.of_stations(np.isnat(self.station_until) | (self.station_until >= first))
        read = some.week >= first
        return replace(some, **{name: getattr(some, name)[read] for name in READING_COLUMNS})


# The columns of CheckArrays: two tables of ids, what there is once a station, and what there is once a reading.
TABLES = ("farm_ids", "facility_ids")
STATION_COLUMNS = tuple(each.name for each in fields(CheckArrays) if each.name.startswith("station_"))
READING_COLUMNS = tuple(each.name for each in fields(CheckArrays) if each.name not in (*TABLES, *STATION_COLUMNS))
STATIONS = """
SELECT s.id, s.farm_id, f.farm, s.facility_id, s.number, s.since, s.until,
       array_position(%(methods)s, s.method::text) AS method,
       COALESCE(g.near, 'nothing') AS near, COALESCE(g.windy, false) AS windy,
       COALESCE(g.out_of_reach, false) AS reach, a.kind = ANY(%(housing)s) AS housing,
       row_number() OVER (ORDER BY s.farm_id, s.method, s.id) - 1 AS place
FROM unnest(%(farms)s::uuid[]) WITH ORDINALITY AS f(id, farm) JOIN monitoring_station s ON s.farm_id = f.id
JOIN farms_facility a ON a.farm_id = s.farm_id AND a.id = s.facility_id LEFT JOIN (
    SELECT DISTINCT ON (farm_id, station_id) farm_id, station_id, near, windy, out_of_reach FROM monitoring_siting
    WHERE farm_id = ANY(%(farms)s) AND since <= %(last)s ORDER BY farm_id, station_id, since DESC, id DESC) g
    ON g.farm_id = s.farm_id AND g.station_id = s.id
WHERE s.farm_id = ANY(%(farms)s) AND s.since <= %(last)s AND (s.until IS NULL OR s.until >= %(first)s)
"""
# A correction received after the moment asked for isn't one yet.
CORRECTED = """
SELECT c.* FROM unnest(%(farms)s::uuid[]) AS f(id) CROSS JOIN LATERAL (
    SELECT farm_id, corrects_id FROM monitoring_reading
    WHERE farm_id = f.id AND corrects_id IS NOT NULL AND received_at < %(before)s OFFSET 0) c
"""
COLD_DAYS = """
SELECT farm_id, day FROM monitoring_farmtemperature
WHERE farm_id = ANY(%(farms)s) AND day BETWEEN %(first)s AND %(latest)s AND max_c < %(cold)s
UNION ALL
SELECT f.id, t.day FROM farms_farm f JOIN monitoring_dailytemperature t ON t.region_id = f.region_id
WHERE f.id = ANY(%(farms)s) AND t.day BETWEEN %(first)s AND %(latest)s AND t.max_c < %(cold)s
  AND NOT EXISTS (SELECT FROM monitoring_farmtemperature own WHERE own.farm_id = f.id AND own.day = t.day)
"""
# Farm by farm, through the indexes of its own partition. The OFFSETs keep it so: the planner takes the farms' readings
# for few, and would read them again for every station. What is sent of a reading is worked out where it is read, so
# that two numbers of it go on, not its columns.
# What few readings have is one number, the marks, which is 0 for most. The CASEs spare them what costs: looking up a
# time zone, for a reading that can't be late in any; a decimal; a day without temperatures. An exposure is a day or an
# animal at least, so 0 stands for none.
MARKS = f"""
CASE WHEN r.how = 'counted' THEN 0 ELSE {HOW} * (array_position(%(hows)s, r.how::text) - 1)
     + {PART} * (r.fraction * {WHOLE})::int4 END
+ CASE WHEN r.reason = '' THEN 0 ELSE {REASON} * (array_position(%(reasons)s, r.reason::text) - 1) END
+ CASE WHEN r.at_least THEN {AT_LEAST} ELSE 0 END + CASE WHEN r.sprayed THEN {SPRAYED} ELSE 0 END
+ CASE WHEN r.received_at <= r.taken_on + (%(late)s - 2) THEN 0
       WHEN (r.received_at AT TIME ZONE r.zone)::date - r.taken_on > %(late)s THEN {LATE} ELSE 0 END
+ CASE WHEN r.method <> 'leg' THEN 0
       WHEN (r.farm_id, r.taken_on) IN (SELECT farm_id, day FROM cold_days) THEN {ON_ANIMALS + COLD}
       ELSE {ON_ANIMALS} END
"""  # noqa: S608 - put together from texts of this file
READINGS = f"""
SELECT s.place, r.placed, r.counted, r.squares
FROM (
    SELECT c.* FROM unnest(%(farms)s::uuid[]) AS f(id) CROSS JOIN LATERAL (
        SELECT f.id AS farm_id, r.station_id,
               ((r.taken_on - %(first)s)::int8 << 16) + LEAST(COALESCE(
                   CASE WHEN r.method = 'leg' THEN cardinality(r.animals) ELSE r.taken_on - r.hung_on END, 0),
               65535) AS placed,
               (COALESCE(r.count, -1)::int8 << 32) + {MARKS} AS counted,
               CASE WHEN r.animals IS NOT NULL AND r.taken_on BETWEEN %(last)s - 6 AND %(last)s
                    THEN (SELECT sum(flies::int8 * flies)::int8 FROM unnest(r.animals) AS flies) END AS squares
        FROM monitoring_reading r
        WHERE r.farm_id = f.id AND r.taken_on BETWEEN %(first)s AND %(latest)s
          AND r.correction_kind <> 'withdrawn' AND r.received_at < %(before)s
          AND (NOT EXISTS (SELECT FROM corrected)
               OR (r.farm_id, r.id) NOT IN (SELECT farm_id, corrects_id FROM corrected)) OFFSET 0) c
    OFFSET 0) r JOIN stations s ON s.farm_id = r.farm_id AND s.id = r.station_id
"""  # noqa: S608 - put together from texts of this file
BOTH = f"""
WITH stations AS MATERIALIZED ({STATIONS}), corrected AS MATERIALIZED ({CORRECTED}),
cold_days AS MATERIALIZED ({COLD_DAYS}), readings AS ({READINGS}),
station_columns AS (
    SELECT array_agg(id ORDER BY place) AS a, array_agg(facility_id ORDER BY place) AS b,
           array_agg(farm::int4 ORDER BY place) AS c, array_agg(method ORDER BY place) AS d,
           array_agg(number::int4 ORDER BY place) AS e, array_agg(since - DATE 'epoch' ORDER BY place) AS f,
           array_agg(COALESCE(until - DATE 'epoch', {NO_DAY}) ORDER BY place) AS g,
           array_agg(array_position(%(nears)s, near::text) ORDER BY place) AS h, array_agg(windy ORDER BY place) AS i,
           array_agg(reach ORDER BY place) AS j,
           array_agg(housing ORDER BY place) AS k
    FROM stations),
reading_columns AS (
    SELECT array_agg((place << 32) + placed) AS l, array_agg(counted) AS m,
           array_agg(place::int4) FILTER (WHERE squares IS NOT NULL) AS n,
           array_agg(squares) FILTER (WHERE squares IS NOT NULL) AS o
    FROM readings)
SELECT * FROM station_columns, reading_columns
"""  # noqa: S608 - put together from texts of this file
BIG_ENDIAN = {"int": (">i4", np.int64), "long": (">i8", np.int64), "bool": ("?", np.bool_)}
COLUMNS = 15
# Two numbers of eight bytes a reading hold five: few aggregates cost less than many.
PLACED = np.dtype([("place", ">i4"), ("day", ">u2"), ("exposure", ">u2")])
COUNTED = np.dtype([("count", ">i4"), ("marks", ">i4")])
HEADER = 20  # bytes of a one-dimensional array: dimensions, NULL flag, type, length, lower bound


def readings_for_check(
    farm_ids: Sequence[UUID],
    first_week: date,
    last_week: date,
    *,
    received_before: datetime | None = None,
    using: str = "default",
) -> CheckArrays:
    """The current readings of these farms in the weeks from first to last (their Mondays).

    With `received_before`, as they stood at that moment. A reading belongs to the week that holds the middle day of its
    exposure. Of a longer time than 9,000 weeks the last so many are read.
    """
    first_week = last_week - min(last_week - first_week, LONGEST_SPAN)
    last = last_week + timedelta(days=6)
    asked = {
        "farms": list(farm_ids), "first": first_week, "last": last, "latest": last + HALF_OF_MOST_DAYS_UP,
        "before": received_before or NEVER, "late": LATE_AFTER, "cold": COLD_BELOW,
        "methods": METHOD_CODES.tolist(), "hows": HOW_CODES.tolist(), "reasons": REASON_CODES.tolist(),
        "nears": NEAR_CODES.tolist(), "housing": list(HOUSING_UNITS),
    }  # fmt: skip
    return _arrays_of(farm_ids, _sent(asked, using), (first_week, last))


def _sent(asked: dict[str, Any], using: str) -> list[bytes | None]:
    """The columns of BOTH, each a PostgreSQL array in its binary form."""
    connection = connections[using]
    connection.ensure_connection()
    # Not Django's cursor, which puts parameters in by itself and takes no binary results.
    with psycopg.Cursor(connection.connection) as cursor:
        cursor.execute(BOTH, asked, binary=True)
        result = cursor.pgresult
        return [result.get_value(0, column) if result else None for column in range(COLUMNS)]


def _arrays_of(farm_ids: Sequence[UUID], sent: list[bytes | None], span: tuple[date, date]) -> CheckArrays:
    station_id, facilities = IdsAsSent(_ids(sent[0])), _ids(sent[1])
    # A facility stands there as often as it has stations.
    numbers = {each: number for number, each in enumerate(dict.fromkeys(facilities))}
    farm, method, number, since, until, near = (_column(value, "int") for value in sent[2:8])
    place, middle, count, exposure, marks = _readings_in_order(_readings(sent[11], sent[12], span[0]), span)
    part = marks // PART
    legs, squares = _column(sent[13], "int"), _column(sent[14], "long")
    counted = np.bincount(legs, minlength=len(station_id)) > 0
    return CheckArrays(
        farm_ids=tuple(farm_ids),
        facility_ids=tuple(UUID(bytes=each) for each in numbers),
        station_id=station_id,
        station_farm=farm - 1,
        station_facility=np.array([numbers[each] for each in facilities], np.int64),
        station_method=METHOD_CODES[method - 1],
        station_number=number,
        station_since=_days(since),
        station_until=_days(until),
        station_near=NEAR_CODES[near - 1],
        station_windy=_column(sent[8], "bool"),
        station_reach=_column(sent[9], "bool"),
        station_housing=_column(sent[10], "bool"),
        station_squares=np.where(counted, np.bincount(legs, squares, minlength=len(station_id)), np.nan),
        station=place,
        week=monday_of(_days(middle)),
        middle=_days(middle),
        count=np.where(count < 0, np.nan, count),
        fraction=np.where(part == 0, 1.0, part / WHOLE),
        exposure=np.where(exposure == 0, np.nan, exposure),
        at_least=marks & AT_LEAST > 0,
        how=HOW_CODES[marks // HOW % (REASON // HOW)],
        reason=REASON_CODES[marks // REASON % (PART // REASON)],
        sprayed=marks & SPRAYED > 0,
        late=marks & LATE > 0,
        cold=marks & COLD > 0,
    )


def _readings(placed: bytes | None, counted: bytes | None, first: date) -> Sequence[Ints]:
    """Place, day taken, count, exposure and marks of each reading, out of the two numbers that hold them."""
    one, two = _elements(placed, PLACED), _elements(counted, COUNTED)
    place, day, exposure, count, marks = (
        part[name].astype(np.int64)
        for part, name in ((one, "place"), (one, "day"), (one, "exposure"), (two, "count"), (two, "marks"))
    )
    return place, _number(first) + day, count, exposure, marks


def _readings_in_order(columns: Sequence[Ints], span: tuple[date, date]) -> Sequence[Ints]:
    """Those whose middle day is asked for, by station and day, so that sums don't hang on how rows lie on the disk.

    With the middle day instead of the day taken.
    """
    place, taken, count, exposure, marks = columns
    middle, first, last = _middle(taken, exposure, marks), _number(span[0]), _number(span[1])
    within = np.flatnonzero((middle >= first) & (middle <= last))
    # Station, day and count as one number: a third of the time that sorting by one after the other takes.
    cell = place[within] * (last - first + 1) + middle[within] - first
    order = within[np.argsort((cell << 32) + count[within] + 1)]
    return [each[order] for each in (place, middle, count, exposure, marks)]


def _middle(taken: Ints, exposure: Ints, marks: Ints) -> Ints:
    """The middle day of each exposure, the earlier of two; the day itself where nothing hung, or nobody knows."""
    hung = (exposure > 0) & (marks & ON_ANIMALS == 0)
    return taken - np.where(hung, exposure - exposure // 2, 0)


def _column(value: bytes | None, kind: str) -> NDArray[Any]:
    sent, wanted = BIG_ENDIAN[kind]
    return _elements(value, np.dtype(sent)).astype(wanted)


def _elements(value: bytes | None, sent: np.dtype[Any]) -> NDArray[Any]:
    """A PostgreSQL array in its binary form as a NumPy column; NULL, the aggregate of no rows, is empty."""
    if value is None:
        return np.empty(0, sent)
    return np.frombuffer(value, np.dtype([("length", ">i4"), ("value", sent)]), offset=HEADER)["value"]


def _ids(value: bytes | None) -> list[bytes]:
    sent: list[bytes] = _elements(value, np.dtype("V16")).tolist()
    return sent


def _number(day: date) -> int:
    """Days since 1970."""
    return (day - date(1970, 1, 1)).days


def _days(numbers: Ints) -> Days:
    """Days since 1970 as dates; NO_DAY as NaT."""
    return np.where(numbers == NO_DAY, np.datetime64("NaT", "D"), numbers.astype("M8[D]"))


def days_of_last_rounds(farm_ids: Collection[UUID], on: date, *, using: str = "default") -> dict[UUID, date]:
    """The day of each farm's last round up to a day; a farm without a round isn't in it."""
    sql = """SELECT farm_id, max(walked_on) FROM monitoring_round
             WHERE farm_id = ANY(%s::uuid[]) AND walked_on <= %s GROUP BY farm_id"""
    with connections[using].cursor() as cursor:
        cursor.execute(sql, [array_of(farm_ids).text, on])
        return dict(cursor.fetchall())


def skips_of(farm_ids: Collection[UUID], on: date, *, using: str = "default") -> dict[UUID, tuple[date, date]]:
    """Each farm's last skip noted up to a day: the day that was skipped, and the day named for the next round."""
    sql = """SELECT DISTINCT ON (farm_id) farm_id, skipped_on, next_round_on FROM monitoring_skip
             WHERE farm_id = ANY(%s::uuid[]) AND skipped_on <= %s
             ORDER BY farm_id, skipped_on DESC, next_round_on DESC"""
    with connections[using].cursor() as cursor:
        cursor.execute(sql, [array_of(farm_ids).text, on])
        return {farm: (skipped_on, next_round_on) for farm, skipped_on, next_round_on in cursor.fetchall()}


def flies_on_animals(
    farm_ids: Collection[UUID], first_week: date, last_week: date, *, using: str = "default"
) -> Floats:
    """The flies on each animal of each leg count of these weeks, (n_leg_counts, n_animals), padded with NaN."""
    sql = """SELECT r.animals FROM monitoring_reading r
             WHERE r.farm_id = ANY(%s) AND r.method = 'leg' AND r.taken_on BETWEEN %s AND %s
               AND r.animals IS NOT NULL AND r.correction_kind <> 'withdrawn'
               AND NOT EXISTS (SELECT 1 FROM monitoring_reading l
                               WHERE l.farm_id = r.farm_id AND l.corrects_id = r.id)
             ORDER BY r.farm_id, r.taken_on, r.id"""
    with connections[using].cursor() as cursor:
        cursor.execute(sql, [list(farm_ids), first_week, last_week + timedelta(days=6)])
        counted = [row[0] for row in cursor.fetchall()]
    flies = np.full((len(counted), max(map(len, counted), default=1)), np.nan)
    for row, animals in zip(flies, counted, strict=True):
        row[: len(animals)] = animals
    return flies
