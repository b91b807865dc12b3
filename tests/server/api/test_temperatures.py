"""Daily temperatures of farms and regions over the API: in JSON or as a file, all or nothing, and who may send."""

from datetime import date
from typing import Any

import pytest
from django.utils import timezone

from farms.models import Farm, Group, GroupMember, Region, User
from monitoring.models import DailyTemperature, FarmTemperature
from tests.cast import as_factory, make_user
from tests.server.api.bodies import everything_stored
from tests.server.api.senders import Sender, phone_of, session_of, token_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
DAYS = [{"day": "2026-05-30", "min": 12.5, "max": 27}, {"day": "2026-05-31", "min": 14, "max": 28.5}]
BODY = {"unit": "C", "days": DAYS}


def path(farm: Farm) -> str:
    return f"/api/v1/farms/{farm.id}/temperatures"


def region_path(region: Region) -> str:
    return f"/api/v1/regions/{region.id}/temperatures"


def send_file(sender: Sender, address: str, content: str) -> Any:
    return sender.generic("POST", address, content.encode(), "text/csv")


def test_days_are_stored_listed_newest_first_and_replaced(program: Sender, northfield: Farm):
    assert program.post(path(northfield), BODY).json() == {"stored": 2}
    program.post(path(northfield), {"unit": "F", "days": [{"day": "2026-05-30", "min": 50, "max": 86}]})
    assert program.get(path(northfield)).json()["results"] == [
        {"day": "2026-05-31", "min_c": 14.0, "max_c": 28.5},
        {"day": "2026-05-30", "min_c": 10.0, "max_c": 30.0},
    ]
    asked = program.get(path(northfield) + "?since=2026-05-31&until=2026-06-01").json()["results"]
    assert [row["day"] for row in asked] == ["2026-05-31"]


def test_a_program_sends_a_file(program: Sender, northfield: Farm):
    content = "day,min,max,unit\n2026-05-30,12.5,27,C\n2026-05-31,50,86,F\n2026-06-01,,,C\n"
    assert send_file(program, path(northfield), content).json() == {"stored": 2}
    assert program.get(path(northfield)).json()["results"][0]["max_c"] == 30.0


@pytest.mark.parametrize(
    ("day", "pointer", "code"),
    [
        ({"day": "2026-05-29", "min": 20, "max": 10}, "/days/2/min", "turned_round"),
        ({"day": "2026-05-29", "min": -61, "max": 10}, "/days/2/min", "not_a_temperature"),
        ({"day": "2026-05-29", "min": 10, "max": 61}, "/days/2/max", "not_a_temperature"),
        ({"day": "2026-05-31", "min": 10, "max": 20}, "/days/2/day", "day_twice"),
        ({"day": "2026-06-02", "min": 10, "max": 20}, "/days/2/day", "future_date"),
    ],
)
def test_one_bad_day_stores_none(program: Sender, northfield: Farm, day: dict[str, Any], pointer: str, code: str):
    before = everything_stored(northfield)
    problem = assert_problem(
        program.post(path(northfield), {"unit": "C", "days": [*DAYS, day]}), 422, "temperature_refused"
    )
    assert [(error["pointer"], error["code"]) for error in problem["errors"]] == [(pointer, code)]
    assert everything_stored(northfield) == before


@pytest.mark.parametrize(
    "body",
    [
        {"days": DAYS},
        {"unit": "K", "days": DAYS},
        {"unit": "C", "days": [{"day": "2026-05-30", "min": "12", "max": 20}]},
        {"unit": "C", "days": [{"day": "2026-05-30", "min": 12}]},
        {"unit": "C", "days": [{"day": "2026-05-30", "min": 12, "max": 20, "rain": 3}]},
        {"unit": "C"},
        [],
    ],
    ids=["no unit", "kelvin", "text", "half a day", "rain", "no days", "a list"],
)
def test_a_body_of_another_form(program: Sender, northfield: Farm, body: Any):
    response = program.post(path(northfield), body)
    assert response.status_code == 422, response.content
    with as_factory():
        assert not FarmTemperature.objects.exists()


def test_a_files_bad_rows_are_named_by_line(program: Sender, northfield: Farm):
    before = everything_stored(northfield)
    content = "day,min,max,unit\n2026-05-30,12.5,27,C\n2026-05-31,warm,86,F\n2026-05-29,30,20,C\n2026-05-28,1,2,\n"
    problem = assert_problem(send_file(program, path(northfield), content), 422, "temperature_refused")
    assert {(error["pointer"], error["code"]) for error in problem["errors"]} == {
        ("/rows/3/min", "not_a_number"), ("/rows/4/min", "turned_round"), ("/rows/5/unit", "unit_unknown")
    }  # fmt: skip
    assert everything_stored(northfield) == before
    assert_problem(send_file(program, path(northfield), "day,min,max\n2026-05-30,1,2\n"), 422, "columns_missing")


class TestOfARegion:
    def test_a_coordinator_stores_them_and_the_groups_people_and_programs_read_them(
        self, northfield: Farm, region: Region, anna: User, erik: User
    ):
        assert session_of(erik).post(region_path(region), BODY).json() == {"stored": 2}
        assert (
            send_file(session_of(erik), region_path(region), "day,min,max,unit\n2026-05-30,1,2,C\n").status_code == 200
        )
        for sender in (session_of(anna), session_of(erik), token_of(northfield, anna, "read")):
            rows = sender.get(region_path(region)).json()["results"]
            assert [(row["day"], row["min_c"]) for row in rows] == [("2026-05-31", 14.0), ("2026-05-30", 1.0)]

    def test_nobody_else_of_the_group_stores_any(
        self, northfield: Farm, region: Region, anna: User, ben: User, dana: User
    ):
        for sender in (session_of(anna), session_of(ben), session_of(dana)):
            assert_problem(sender.post(region_path(region), BODY), 403, "forbidden")
        # A key belongs to a farm and knows no group.
        assert_problem(token_of(northfield, anna, "write").post(region_path(region), BODY), 404, "not_found")
        assert not DailyTemperature.objects.exists()

    def test_strangers_and_phones_find_no_region(self, northfield: Farm, region: Region, anna: User):
        for sender in (session_of(make_user("Frida")), phone_of(northfield, anna)):
            assert_problem(sender.get(region_path(region)), 404, "not_found")
            assert_problem(sender.post(region_path(region), BODY), 404, "not_found")
        assert_problem(Sender().get(region_path(region)), 401, "not_signed_in")

    def test_a_coordinator_of_another_group_finds_no_region(self, northfield: Farm, region: Region, erik: User):
        with as_factory():
            other = Group.objects.create(name="Hill Advisers", slug="hill")
            GroupMember.objects.filter(user=erik).update(group=other)
        assert_problem(session_of(erik).post(region_path(region), BODY), 404, "not_found")

    def test_who_left_the_office_stores_no_more(self, northfield: Farm, region: Region, erik: User):
        with as_factory():
            GroupMember.objects.filter(user=erik).update(ended_at=timezone.now())
        assert_problem(session_of(erik).post(region_path(region), BODY), 404, "not_found")

    def test_one_bad_day_stores_none(self, region: Region, erik: User):
        bad = {"unit": "C", "days": [*DAYS, {"day": "2026-05-29", "min": 20, "max": 10}]}
        assert_problem(session_of(erik).post(region_path(region), bad), 422, "temperature_refused")
        assert not DailyTemperature.objects.exists()


def test_the_future_is_that_of_the_farms_own_day(program: Sender, northfield: Farm):
    """The clock shows noon of June 1 in UTC, which is June 1 in Chicago too."""
    today = {"unit": "C", "days": [{"day": str(date(2026, 6, 1)), "min": 10, "max": 20}]}
    assert program.post(path(northfield), today).status_code == 200
