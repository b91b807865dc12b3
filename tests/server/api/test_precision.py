"""How well a farm's means are known, over the API: numbers, sources and reasons."""

import json
from typing import Any

import pytest

from farms.models import Farm, Group
from monitoring.models import Station
from tests.alerts.scene import check, count_week, monday
from tests.server.api.senders import Sender
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
WEEK = monday(5)


def path(farm: Farm) -> str:
    return f"/api/v1/farms/{farm.id}/precision"


def methods(answer: Any) -> dict[str, Any]:
    json.dumps(answer.json(), allow_nan=False)
    return {row["method"]: row for row in answer.json()["methods"]}


@pytest.fixture
def counted(northfield: Farm, cards: list[Station], traps: list[Station], leg_station: Station) -> Farm:
    count_week(cards, WEEK, [20, 50, 100, 130, 200])
    count_week(traps, WEEK, [100, 160])
    count_week([leg_station], WEEK, [[0, 3, 12, 5, 0, 8, 21, 2, 7, 0, 4, 10]])
    return northfield


def test_each_method_with_its_devices_its_precision_and_what_would_do(reader: Sender, counted: Farm):
    found = methods(reader.get(f"{path(counted)}?week=2026-05-13"))
    card = found["card"]
    assert (card["devices"], card["mean"], card["source"], card["reason"]) == (5, 100.0, "own", "")
    # s^2 = 4950: sqrt(0.495 / 5), 0.495 / 0.0625 and 0.495 / 0.0225.
    assert card["reached"] == pytest.approx(0.3146, abs=1e-4)
    assert (card["for_a_quarter"], card["for_15_percent"], card["mean_per_leg"]) == (8, 22, None)
    assert card["unevenness"]["zeros"] == 0
    # Gerry et al. 2011, J Econ Entomol 104(3): 7 traps for 15 %.
    assert (found["trap"]["source"], found["trap"]["for_15_percent"]) == ("published", 7)
    assert (found["leg"]["devices"], found["leg"]["mean"], found["leg"]["mean_per_leg"]) == (12, 6.0, 1.5)
    assert found["leg"]["unevenness"]["k"] > 0


def test_the_newest_judged_week_unless_another_is_asked_for(reader: Sender, counted: Farm, group: Group):
    assert reader.get(path(counted)).json()["week"] == "2026-06-01"
    check(group, WEEK)
    assert reader.get(path(counted)).json()["week"] == "2026-05-11"
    assert reader.get(f"{path(counted)}?week=2026-04-30").json()["week"] == "2026-04-27"


def test_before_anything_was_counted_every_number_is_a_reason(reader: Sender, northfield: Farm):
    for row in methods(reader.get(path(northfield))).values():
        assert (row["devices"], row["mean"], row["reached"], row["reason"]) == (0, None, None, "no_count")


@pytest.mark.parametrize(
    ("asked", "week"), [("0001-01-01", "1970-01-05"), ("9999-12-31", "2026-06-01"), ("1969-01-01", "1970-01-05")]
)
def test_a_week_far_away_is_the_nearest_that_can_be(reader: Sender, northfield: Farm, asked: str, week: str):
    answer = reader.get(f"{path(northfield)}?week={asked}")
    assert (answer.status_code, answer.json()["week"]) == (200, week)


@pytest.mark.parametrize("query", ["week=soon", "week=2026-02-30", "day=2026-05-01"])
def test_what_is_no_week_is_refused(reader: Sender, northfield: Farm, query: str):
    assert_problem(reader.get(f"{path(northfield)}?{query}"), 422, "bad_query")
