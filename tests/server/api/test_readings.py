"""Reading what was counted, and correcting it."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from alerts.selectors import levels_of
from alerts.selectors.leg_verdicts import LegVerdicts
from alerts.services import NewLevel, set_farm_level
from farms.ids import uuid7
from farms.models import Facility, Farm, User
from monitoring.models import Reading, Station
from tests.cast import NOW, acting, as_factory
from tests.server.api.bodies import TODAY, card_reading, everything_stored, round_body
from tests.server.api.senders import Sender
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db


@pytest.fixture
def counted(program: Sender, northfield: Farm, cards: list[Station]) -> list[dict[str, Any]]:
    """Cards 1 to 3 as they were sent, with 40, 41 and 42 specks."""
    readings = [card_reading(card, count=40 + place) for place, card in enumerate(cards[:3])]
    assert program.put(f"/api/v1/farms/{northfield.id}/rounds/{uuid7()}", round_body(readings)).status_code == 201
    return readings


def correct(sender: Sender, farm: Farm, reading: dict[str, Any], **values: Any) -> Any:
    path = f"/api/v1/farms/{farm.id}/readings/{reading['id']}/corrections"
    return sender.post(path, {"id": str(uuid7()), **values})


def test_readings_are_listed_page_after_page(reader: Sender, northfield: Farm, counted: list[dict[str, Any]]):
    page, found = f"/api/v1/farms/{northfield.id}/readings?limit=2", []
    while page:
        answer = reader.get(page).json()
        found += [row["id"] for row in answer["results"]]
        page = answer["next"]
    assert sorted(found) == sorted(reading["id"] for reading in counted)


def test_readings_are_chosen_by_day_method_and_station(
    reader: Sender, northfield: Farm, cards: list[Station], counted: list[dict[str, Any]]
):
    path = f"/api/v1/farms/{northfield.id}/readings"
    numbers = {
        query: len(reader.get(f"{path}?{query}").json()["results"])
        for query in ("method=card", "method=trap", "since=2026-06-01", "until=2026-05-31", f"station_id={cards[0].id}")
    }
    assert list(numbers.values()) == [3, 0, 3, 0, 1]
    problem = assert_problem(reader.get(f"{path}?since=yesterday&method=tape"), 422, "bad_query")
    assert {error["parameter"] for error in problem["errors"]} == {"since", "method"}


def test_a_correction_takes_the_readings_place_and_both_stay(
    program: Sender, northfield: Farm, counted: list[dict[str, Any]]
):
    made = correct(program, northfield, counted[0], kind="miscounted", count=61)
    assert made.status_code == 201, made.content
    answer = made.json()
    assert (answer["count"], answer["corrects_id"], answer["correction_kind"]) == (61, counted[0]["id"], "miscounted")
    assert (answer["hung_on"], answer["taken_on"]) == ("2026-05-25", "2026-06-01")
    listed = program.get(f"/api/v1/farms/{northfield.id}/readings").json()["results"]
    assert sorted(row["count"] for row in listed) == [41, 42, 61]
    with as_factory():
        assert Reading.objects.filter(farm=northfield).count() == 4


def test_a_reading_is_withdrawn(program: Sender, northfield: Farm, counted: list[dict[str, Any]]):
    assert correct(program, northfield, counted[0], kind="withdrawn").status_code == 201
    listed = program.get(f"/api/v1/farms/{northfield.id}/readings").json()["results"]
    assert sorted(row["count"] for row in listed) == [41, 42]


def test_only_the_latest_reading_is_corrected(program: Sender, northfield: Farm, counted: list[dict[str, Any]]):
    later = correct(program, northfield, counted[0], kind="miscounted", count=61).json()
    problem = assert_problem(
        correct(program, northfield, counted[0], kind="miscounted", count=62), 409, "already_corrected"
    )
    assert problem["details"]["by"] == later["id"]


@pytest.mark.parametrize(
    ("values", "pointer"),
    [
        ({"count": 61}, "/kind"),
        ({"kind": "because", "count": 61}, "/kind"),
        ({"kind": "miscounted", "count": -1}, "/count"),
        ({"kind": "miscounted", "count": 5, "reason": "lost"}, "/count"),
        ({"kind": "miscounted"}, "/count"),
        ({"kind": "wrong_date", "count": 40, "taken_on": "2026-06-02"}, "/taken_on"),
        ({"kind": "wrong_station", "count": 40, "station_id": str(uuid7())}, "/station_id"),
    ],
)
def test_a_correction_that_can_not_be_right(
    program: Sender, northfield: Farm, counted: list[dict[str, Any]], values: dict[str, Any], pointer: str
):
    before = everything_stored(northfield)
    response = correct(program, northfield, counted[0], **values)
    problem = assert_problem(response, 422, response.json()["code"])
    assert pointer in [error["pointer"] for error in problem["errors"]]
    assert everything_stored(northfield) == before


def test_a_reading_that_is_not_there(program: Sender, northfield: Farm):
    assert_problem(correct(program, northfield, {"id": uuid7()}, kind="withdrawn"), 404, "not_found")


def send_legs(program: Sender, farm: Farm, station: Station, animals: list[int], **values: Any) -> dict[str, Any]:
    """A round with one leg count; its reading as it is answered."""
    legs = {"id": str(uuid7()), "station_id": str(station.id), "animals": animals}
    answer = program.put(f"/api/v1/farms/{farm.id}/rounds/{uuid7()}", round_body([legs], **values))
    assert answer.status_code == 201, answer.content
    found: dict[str, Any] = answer.json()["readings"][0]
    return found


@pytest.mark.parametrize(
    ("animals", "verdict", "mean_per_leg"),
    [
        ([3] * 10, "enough_below", 0.75),
        ([20] * 10, "enough_over", 5.0),
        ([10] * 12, "count_on", 2.5),
        ([10] * 15, "not_clear", 2.5),
        ([0] * 9, "count_on", 0.0),
    ],
)
def test_a_leg_count_says_whether_its_animals_were_enough(
    program: Sender, northfield: Farm, leg_station: Station, animals: list[int], verdict: str, mean_per_leg: float
):
    sent = send_legs(program, northfield, leg_station, animals)
    listed = program.get(f"/api/v1/farms/{northfield.id}/readings").json()["results"][0]
    for reading in (sent, listed):
        assert (reading["verdict"], reading["mean_per_leg"]) == (verdict, mean_per_leg)


def test_the_verdict_of_a_leg_count_is_by_the_level_of_its_day(
    program: Sender, northfield: Farm, leg_station: Station, anna: User
):
    with acting(anna):
        level = NewLevel("leg", 20.0, "our heifers stamp", TODAY)
        set_farm_level(farm=northfield, level=level, by=anna, now=NOW)
    earlier = TODAY - timedelta(days=3)
    assert send_legs(program, northfield, leg_station, [12] * 11, walked_on=earlier)["verdict"] == "enough_over"
    assert send_legs(program, northfield, leg_station, [12] * 11)["verdict"] == "enough_below"


def test_a_card_has_no_verdict(reader: Sender, northfield: Farm, counted: list[dict[str, Any]]):
    listed = reader.get(f"/api/v1/farms/{northfield.id}/readings").json()["results"]
    assert {(row["verdict"], row["mean_per_leg"]) for row in listed} == {(None, None)}


def test_more_leg_counts_take_no_more_queries(
    program: Sender, northfield: Farm, leg_station: Station, django_assert_max_num_queries: Any
):
    path = f"/api/v1/farms/{northfield.id}/readings"
    numbers = []
    for day in range(1, 7):
        send_legs(program, northfield, leg_station, [day] * 10, walked_on=TODAY - timedelta(days=day))
        with django_assert_max_num_queries(100) as asked:
            assert len(program.get(path).json()["results"]) == day
        numbers.append(len(asked.captured_queries))
    assert len(set(numbers)) == 1


@given(set_=st.lists(st.tuples(st.booleans(), st.integers(0, 4), st.integers(1, 40)), max_size=6))
@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_levels_of_many_days_are_those_of_each_day(
    northfield: Farm, anna: User, leg_station: Station, set_: list[tuple[bool, int, int]]
):
    """The levels that verdicts are by, read at once, are what `levels_of` reads day by day."""
    with as_factory():
        dry_lot = Facility.objects.get(farm=northfield, name="Dry lot")
    with transaction.atomic(), acting(anna):
        for of_facility, days, value in set_:
            since = TODAY + timedelta(days=days)
            level = NewLevel("leg", value, "tried", since, dry_lot if of_facility else None)
            set_farm_level(farm=northfield, level=level, by=anna, now=NOW)
        verdicts = LegVerdicts(northfield)
        for day in (TODAY + timedelta(days=number) for number in range(-1, 6)):
            for place in (None, dry_lot.id):
                assert verdicts.levels_on(day).of("leg", place) == levels_of(northfield, day).of("leg", place)
        transaction.set_rollback(True)
