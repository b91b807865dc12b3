"""From egg to fly over the API: dates, intervals, and the reasons where there is none."""

from datetime import timedelta
from typing import Any

import pytest

from farms.models import Farm, Region
from monitoring.rules.temperatures import table_of_days
from monitoring.services import record_temperatures
from tests.cast import NOW
from tests.server.api.bodies import TODAY
from tests.server.api.senders import Sender
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db


def path(farm: Farm) -> str:
    return f"/api/v1/farms/{farm.id}/development"


@pytest.fixture
def warm(region: Region) -> None:
    """Three weeks of 18 to 30 C up to today."""
    days = [(TODAY - timedelta(days=back), 18.0, 30.0) for back in range(21)]
    record_temperatures(region=region, table=table_of_days(days), now=NOW)


def kinds(answer: Any) -> dict[str, Any]:
    return {one["kind"]: one for one in answer.json()["kinds"]}


def test_without_temperatures_every_number_is_a_reason(reader: Sender, northfield: Farm):
    answer = reader.get(path(northfield))
    assert (answer.json()["own_days"], answer.json()["region_days"], answer.json()["ahead"]) == (0, 0, "none")
    for one in kinds(answer).values():
        assert one["flies"] == {
            "earliest": None, "latest": None, "why_no_earliest": "no_temperatures", "why_no_latest": "no_temperatures"
        }  # fmt: skip
        assert one["last_week"]["clean_every"] is None
        assert one["last_week"]["maggots_leave"]["reason"] == "no_temperatures"


def test_dates_and_intervals_at_a_steady_24_degrees(reader: Sender, northfield: Farm, warm: None):
    answer = reader.get(path(northfield))
    body = answer.json()
    assert (body["day"], body["laid"], body["region_days"], body["ahead"]) == (
        "2026-06-01", "2026-06-01", 7, "recent_days"
    )  # fmt: skip
    house, stable = kinds(answer)["house_fly"], kinds(answer)["stable_fly"]
    assert (house["flies"]["earliest"], house["flies"]["latest"]) == ("2026-06-08", "2026-06-19")
    assert house["last_week"]["seven_is_too_long"] is True
    assert house["last_week"]["clean_every"] == house["next_week"]["clean_every"] == 4
    assert stable["last_week"]["seven_is_too_long"] is False
    # 225 degree-days above 12.2 C at 24 C: 19.07 days by the published line.
    assert stable["last_week"]["flies"]["shortest"] < 19.1 < stable["last_week"]["flies"]["longest"]


def test_eggs_of_another_day(reader: Sender, northfield: Farm, warm: None):
    asked = kinds(reader.get(path(northfield) + "?laid=2026-05-20"))["house_fly"]["flies"]
    assert (asked["earliest"], asked["latest"]) == ("2026-05-27", "2026-06-07")
    before = kinds(reader.get(path(northfield) + "?laid=2026-05-01"))["house_fly"]["flies"]
    assert before["why_no_earliest"] == "no_temperatures"
    for far in ("0001-01-01", "9999-12-31"):
        found = kinds(reader.get(f"{path(northfield)}?laid={far}"))["stable_fly"]["flies"]
        assert (found["earliest"], found["why_no_earliest"]) == (None, "no_temperatures")
    assert_problem(reader.get(path(northfield) + "?laid=soon"), 422, "bad_query")
    assert_problem(reader.get(path(northfield) + "?day=2026-05-01"), 422, "bad_query")


def test_a_farms_own_days_go_before_its_regions(program: Sender, northfield: Farm, warm: None):
    own = [{"day": str(TODAY - timedelta(days=back)), "min": 8, "max": 20} for back in range(21)]
    program.post(f"/api/v1/farms/{northfield.id}/temperatures", {"unit": "C", "days": own})
    answer = program.get(path(northfield))
    assert (answer.json()["own_days"], answer.json()["region_days"]) == (7, 0)
    assert kinds(answer)["house_fly"]["flies"]["earliest"] > "2026-06-15"


def test_too_cold_is_not_in_sight(program: Sender, northfield: Farm):
    cold = [{"day": str(TODAY - timedelta(days=back)), "min": -2, "max": 9} for back in range(21)]
    program.post(f"/api/v1/farms/{northfield.id}/temperatures", {"unit": "C", "days": cold})
    found = kinds(program.get(path(northfield)))["stable_fly"]
    assert found["last_week"]["maggots_leave"]["reason"] == "not_in_sight"
    # Six weeks of the last days stand for those to come, and nothing after them.
    assert found["flies"]["why_no_earliest"] == "no_temperatures"
