"""Stations and how they stand, rounds skipped ahead, and work."""

from datetime import date, timedelta

import pytest
from django.db import ProgrammingError, transaction

from farms.errors import Missing
from monitoring.errors import (
    SitedTwice,
    SkipRefused,
    StationNumberTaken,
    StationRefused,
    WorkRefused,
)  # fmt: skip
from monitoring.models import Siting, Skip, Station, Work
from monitoring.services import (
    SitingData,
    WorkDone,
    add_station,
    record_work,
    resite_station,
    skip_round,
)  # fmt: skip
from tests.cast import NOW, SEASON_OPENS, acting
from tests.monitoring.sending import STAFF, TODAY, chain_holds

pytestmark = pytest.mark.django_db


def add(farm, facility, number=9, method="card", since=SEASON_OPENS, **siting):
    return add_station(
        farm=farm, facility=facility, method=method, number=number, since=since, siting=SitingData(**siting)
    )


def test_a_station_is_stored_with_how_it_stands(northfield, anna, calf_barn):
    with acting(anna):
        card = add(northfield, calf_barn, windy=True, near="milk", x=0.2, y=0.9, position=4)
        stands = Siting.objects.get(station_id=card.id)
    assert (card.label, card.position) == ("Card 9", 4)
    assert (stands.windy, stands.near, stands.x, stands.since) == (True, "milk", 0.2, SEASON_OPENS)


def test_a_number_is_given_once_a_method(northfield, anna, calf_barn):
    with acting(anna):
        with pytest.raises(StationNumberTaken, match="already has a Card 1"):
            add(northfield, calf_barn, number=1)
        assert add(northfield, calf_barn, number=9, method="trap").label == "Trap 9"


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"number": 0}, "number_wrong"),
        ({"number": True}, "number_wrong"),
        ({"method": "net"}, "method_unknown"),
        ({"near": "sea"}, "near_unknown"),
        ({"x": 0.5}, "off_the_plan"),
        ({"x": 0.5, "y": 1.5}, "off_the_plan"),
        ({"position": -1}, "position_wrong"),
        ({"since": date(26, 5, 1)}, "not_a_date"),
    ],
)
def test_a_station_that_can_not_be_is_refused(northfield, anna, calf_barn, values, code):
    with acting(anna):
        with pytest.raises(StationRefused) as refused:
            add(northfield, calf_barn, **values)
        assert Station.objects.count() == 8
    assert refused.value.errors[0].code == code


def test_a_station_stands_in_a_facility_of_its_own_farm(northfield, southmead, carla, calf_barn):
    with acting(carla), pytest.raises(StationRefused):
        add(southmead, calf_barn)


def test_carla_adds_no_station_to_northfield(northfield, carla, calf_barn):
    with acting(carla), pytest.raises(ProgrammingError, match="row-level security"), transaction.atomic():
        add(northfield, calf_barn)


def test_a_station_is_sited_anew_and_the_old_record_stays(northfield, anna, cards):
    with acting(anna):
        moved = SitingData(windy=True, position=7)
        resite_station(farm=northfield, station=cards[0], siting=moved, since=TODAY)
        rows = Siting.objects.filter(station_id=cards[0].id).order_by("since")
        assert [row.windy for row in rows] == [False, True]
        assert Station.objects.get(id=cards[0].id).position == 7
        with pytest.raises(SitedTwice):
            resite_station(farm=northfield, station=cards[0], siting=moved, since=TODAY)
        with pytest.raises(StationRefused):
            resite_station(farm=northfield, station=cards[0], siting=moved, since=date(2026, 1, 1))


def test_a_round_is_skipped_ahead_and_sent_twice_it_is_stored_once(northfield, anna):
    with acting(anna):
        for _ in range(2):
            skip_round(farm=northfield, skipped_on=TODAY, next_round_on=date(2026, 6, 15), actor=STAFF, now=NOW)
        assert Skip.objects.get().next_round_on == date(2026, 6, 15)


@pytest.mark.parametrize(
    ("skipped_on", "next_round_on", "code"),
    [
        (TODAY, TODAY, "not_later"),
        (date(2026, 5, 20), date(2026, 5, 27), "skipped_before"),
        (TODAY, TODAY + timedelta(days=61), "too_far"),
        (TODAY, "soon", "not_a_date"),
    ],
)
def test_a_skip_that_can_not_be_is_refused(northfield, anna, skipped_on, next_round_on, code):
    with acting(anna), pytest.raises(SkipRefused) as refused:
        skip_round(farm=northfield, skipped_on=skipped_on, next_round_on=next_round_on, actor=STAFF, now=NOW)
    assert (refused.value.errors[0].pointer, refused.value.errors[0].code) == ("/next_round_on", code)


def test_carla_skips_no_round_of_northfield(northfield, carla):
    with acting(carla), pytest.raises(Missing):
        skip_round(farm=northfield, skipped_on=TODAY, next_round_on=date(2026, 6, 15), actor=STAFF, now=NOW)


def test_work_is_noted_in_the_farms_chain(northfield, anna, calf_barn):
    with acting(anna):
        done = WorkDone(kind="clean_out", done_on=TODAY, facility=calf_barn, thorough=True)
        work = record_work(farm=northfield, work=done, actor=STAFF, now=NOW)
        assert (work.facility_id, work.thorough) == (calf_barn.id, True)
        record_work(farm=northfield, work=WorkDone("fans", TODAY), actor=STAFF, now=NOW)
    assert chain_holds(northfield)


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"kind": "spraying"}, "kind_unknown"),
        ({"done_on": TODAY + timedelta(days=1)}, "future_date"),
        ({"done_on": "yesterday"}, "not_a_date"),
        ({"done_on": date(26, 5, 30)}, "not_a_date"),
        ({"kind": "fans", "thorough": True}, "thorough_only_of_a_clean_out"),
    ],
)
def test_work_that_can_not_be_is_refused(northfield, anna, values, code):
    with acting(anna):
        with pytest.raises(WorkRefused) as refused:
            record_work(farm=northfield, work=WorkDone(**{"kind": "clean_out", "done_on": TODAY} | values),
                        actor=STAFF, now=NOW)  # fmt: skip
        assert not Work.objects.exists()
    assert refused.value.errors[0].code == code


def test_carla_notes_no_work_on_northfield(northfield, carla):
    with acting(carla), pytest.raises(Missing):
        record_work(farm=northfield, work=WorkDone("fans", TODAY), actor=STAFF, now=NOW)
