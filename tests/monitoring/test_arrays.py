"""The readings as columns: what the weekly check sees of the farms."""

from datetime import date, timedelta

import numpy as np
import pytest

from farms.ids import uuid7
from monitoring.arrays import READING_COLUMNS, STATION_COLUMNS, days_of_last_rounds, readings_for_check, skips_of
from monitoring.models import Reading, Station
from monitoring.rules.temperatures import table_of_days
from monitoring.services import (
    SitingData,
    correct_reading,
    record_farm_temperatures,
    record_temperatures,
    resite_station,
    skip_round,
)  # fmt: skip
from tests.cast import NOW, acting, as_factory, as_role
from tests.monitoring.sending import HUNG, STAFF, TODAY, hang, reading, send

pytestmark = pytest.mark.django_db
FIRST, LAST = date(2026, 4, 13), date(2026, 6, 1)
LATER = NOW + timedelta(days=1)


def arrays_of(*farms, **more):
    with as_role("worker"):
        return readings_for_check([farm.id for farm in farms], FIRST, LAST, **more)


def test_readings_come_as_columns_with_their_stations(northfield, anna, cards, traps, leg_station):
    with acting(anna):
        hang(northfield, [*cards, *traps])
        send(
            northfield, reading(cards[0], 61, how="part", fraction=0.25), reading(cards[1], 300, at_least=True),
            reading(cards[2], reason="lost"), reading(traps[0], 250, how="cup"),
            reading(leg_station, animals=[3, 0, 5]),
        )  # fmt: skip
    found = arrays_of(northfield)
    assert found.farm_ids == (northfield.id,)
    assert found.station_method.tolist() == ["card"] * 5 + ["leg"] + ["trap"] * 2
    assert found.station_number.tolist() == [1, 2, 3, 4, 5, 1, 1, 2]
    assert tuple(found.station_id) == (*(card.id for card in cards), leg_station.id, *(trap.id for trap in traps))
    assert [found.station_id.text(place) for place in range(2)] == [str(card.id) for card in cards[:2]]
    assert list(found.station_id[6:]) == [trap.id for trap in traps]
    facilities = tuple(found.facility_ids[place] for place in found.station_facility)
    assert facilities == tuple(each.facility_id for each in (*cards, leg_station, *traps))
    assert found.station_farm.tolist() == [0] * 8
    assert found.station.tolist() == [0, 1, 2, 5, 6]
    np.testing.assert_array_equal(found.count, [61, 300, np.nan, 8, 250])
    assert found.fraction.tolist() == [0.25, 1, 1, 1, 1]
    assert found.exposure.tolist() == [7, 7, 7, 3, 7]
    assert found.at_least.tolist() == [False, True, False, False, False]
    assert found.how.tolist() == ["part", "counted", "counted", "counted", "cup"]
    assert found.reason.tolist() == ["", "", "lost", "", ""]
    assert found.middle.astype(str).tolist() == ["2026-05-28"] * 3 + ["2026-06-01", "2026-05-28"]
    assert found.week.astype(str).tolist() == ["2026-05-25"] * 3 + ["2026-06-01", "2026-05-25"]
    assert not found.late.any()


def test_some_stations_come_with_their_readings_alone(northfield, anna, cards, traps):
    with acting(anna):
        hang(northfield, [*cards, *traps])
        send(northfield, *(reading(card, 10 + place) for place, card in enumerate(cards)), reading(traps[0], 250))
    found = arrays_of(northfield)
    some = found.of_stations(found.station_number == 1)
    assert tuple(some.station_id) == (cards[0].id, found.station_id[5], traps[0].id)
    assert some.station_method.tolist() == ["card", "leg", "trap"]
    assert (some.station.tolist(), some.count.tolist()) == ([0, 2], [10, 250])
    assert {len(getattr(some, name)) for name in READING_COLUMNS} == {2}
    none = found.of_stations(np.zeros(len(found.station_id), np.bool_))
    assert (len(none.station_id), none.count.shape) == (0, (0,))


def test_without_readings_there_are_stations_only(northfield, cards):
    found = arrays_of(northfield)
    assert (len(found.station_id), found.count.shape, found.week.dtype) == (8, (0,), np.dtype("M8[D]"))
    assert np.isnat(found.station_until).all()
    assert len(arrays_of().station_id) == 0


def test_only_what_stands_is_seen(northfield, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        send(northfield, *(reading(card, 10) for card in cards))
        first, second = Reading.objects.order_by("received_at", "id")[:2]
        for row, kind in ((first, "miscounted"), (second, "withdrawn")):
            new = reading(Station.objects.get(id=row.station_id), 99)
            correct_reading(farm=northfield, reading_id=row.id, correction=new, kind=kind, actor=STAFF, now=LATER)
    assert sorted(arrays_of(northfield).count.tolist()) == [10, 10, 10, 99]
    # As it stood on Monday morning, before the corrections came in.
    assert arrays_of(northfield, received_before=LATER).count.tolist() == [10] * 5
    assert arrays_of(northfield, received_before=NOW).count.tolist() == []


def test_a_reading_belongs_to_the_week_of_its_middle_day(northfield, anna, cards):
    with acting(anna):
        send(northfield, reading(cards[0], 1, hung_on=date(2026, 4, 8)), on=date(2026, 4, 17))
        send(northfield, reading(cards[1], 2, hung_on=date(2026, 4, 8)), on=date(2026, 4, 19))
    # The middles are April 12, a Sunday, and April 13, the Monday of the first week asked for.
    found = arrays_of(northfield)
    assert found.count.tolist() == [2]
    assert found.week.astype(str).tolist() == ["2026-04-13"]


def test_late_cold_and_sprayed_are_marked(northfield, anna, cards, leg_station):
    with acting(anna):
        hang(northfield, cards, on=date(2026, 5, 4))
        send(northfield, reading(cards[0], 5), on=date(2026, 5, 17))
        send(northfield, reading(cards[1], 6), on=date(2026, 5, 18))
        send(northfield, reading(leg_station, animals=[1], sprayed=True), on=TODAY)
    cold = table_of_days([(TODAY, 2.0, 14.9), (date(2026, 5, 17), 0.0, 9.0)])
    record_temperatures(region=northfield.region, table=cold, now=NOW)
    found = arrays_of(northfield)
    # Received on June 1: 15 days after May 17, 14 after May 18.
    assert dict(zip(found.count.tolist(), found.late.tolist(), strict=True)) == {5: True, 6: False, 1: False}
    assert dict(zip(found.count.tolist(), found.cold.tolist(), strict=True)) == {5: False, 6: False, 1: True}
    assert found.sprayed.sum() == 1


def test_a_farms_own_temperature_of_a_leg_count_goes_before_its_regions(northfield, anna, leg_station):
    record_temperatures(region=northfield.region, table=table_of_days([(TODAY, 2.0, 14.9)]), now=NOW)
    with acting(anna):
        send(northfield, reading(leg_station, animals=[1]), on=TODAY)
        record_farm_temperatures(farm=northfield, table=table_of_days([(TODAY, 4.0, 15.1)]), now=NOW)
    assert arrays_of(northfield).cold.tolist() == [False]


def test_siting_is_that_of_the_last_week(northfield, anna, cards):
    with acting(anna):
        moved = SitingData(windy=True, near="milk")
        resite_station(farm=northfield, station=cards[0], siting=moved, since=date(2026, 5, 1))
        resite_station(farm=northfield, station=cards[0], siting=SitingData(), since=date(2026, 7, 1))
    found = arrays_of(northfield)
    assert found.station_windy.tolist() == [True] + [False] * 7
    assert found.station_near.tolist() == ["milk"] + ["nothing"] * 7


def test_farms_keep_apart_though_a_client_gave_one_id_twice(northfield, southmead, anna, carla, cards):
    shared, round_id = uuid7(), uuid7()
    with as_factory():
        theirs = Station.objects.filter(farm_id=southmead.id).order_by("number").first()
    for farm, user, station, count in ((northfield, anna, cards[0], 1), (southmead, carla, theirs, 2)):
        with acting(user):
            hang(farm, [station])
            send(farm, type(reading(station))(shared, station.id, count=count), id=round_id)
            if farm == northfield:
                new = reading(station, 3)
                correct_reading(
                    farm=farm, reading_id=shared, correction=new, kind="mistyped", actor=STAFF, now=NOW
                )  # fmt: skip
    found = arrays_of(northfield, southmead)
    of_farm = [found.farm_ids[farm] for farm in found.station_farm[found.station]]
    assert dict(zip(of_farm, found.count.tolist(), strict=True)) == {northfield.id: 3, southmead.id: 2}


def test_a_part_of_what_was_read_is_what_is_read_of_it(northfield, anna, cards, traps, leg_station):
    with acting(anna):
        hang(northfield, [*cards, *traps])
        send(northfield, reading(cards[0], 61), reading(traps[0], 250), reading(leg_station, animals=[3, 0, 5]))
    with as_factory():
        Station.objects.filter(id=cards[1].id).update(until=date(2026, 5, 29))
    later = date(2026, 6, 1)
    with as_role("worker"):
        part, read = (
            readings_for_check([northfield.id], FIRST, LAST).since(later),
            readings_for_check([northfield.id], later, LAST),
        )
    assert (len(part.station_id), len(part.count)) == (7, 1)
    for name in (*STATION_COLUMNS, *READING_COLUMNS):
        np.testing.assert_array_equal(getattr(part, name), getattr(read, name), err_msg=name)


def test_since_the_year_388(northfield, anna, cards):
    """As somebody mistyped the day of a work: what was counted lately is read as ever."""
    with acting(anna):
        hang(northfield, cards)
        send(northfield, reading(cards[2], 61))
        found = readings_for_check([northfield.id], date(388, 1, 4), LAST)
    assert found.station.tolist() == [2]
    assert found.middle.astype(str).tolist() == ["2026-05-28"]


def test_anna_sees_no_reading_of_southmead(northfield, southmead, anna, carla, cards):
    with acting(carla):
        theirs = Station.objects.filter(farm_id=southmead.id).order_by("number").first()
        hang(southmead, [theirs])
        send(southmead, reading(theirs, 5))
    with acting(anna):
        assert readings_for_check([southmead.id], FIRST, LAST).count.tolist() == []


def test_last_rounds_and_skips_are_told_by_farm(northfield, southmead, anna, cards):
    with acting(anna):
        hang(northfield, cards)
        send(northfield, reading(cards[0], 1))
        skip_round(farm=northfield, skipped_on=TODAY, next_round_on=date(2026, 6, 15), actor=STAFF, now=NOW)
    farms = [northfield.id, southmead.id]
    with as_role("worker"):
        assert days_of_last_rounds(farms, TODAY) == {northfield.id: TODAY}
        assert days_of_last_rounds(farms, date(2026, 5, 31)) == {northfield.id: HUNG}
        assert skips_of(farms, TODAY) == {northfield.id: (TODAY, date(2026, 6, 15))}
        assert skips_of(farms, HUNG) == {}
