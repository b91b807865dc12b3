"""A farm's weeks against its own past, and its stations beside each other, over the API."""

from typing import Any

import pytest

from farms.models import Farm, Group, User
from monitoring.models import Siting, Station
from tests.alerts.scene import check, count_week, monday
from tests.cast import as_factory
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
WEEKS = (20, 24, 19, 22, 26, 21, 80)


def own_past(farm: Farm) -> str:
    return f"/api/v1/farms/{farm.id}/own-past"


def effects(farm: Farm) -> str:
    return f"/api/v1/farms/{farm.id}/stations/effects"


@pytest.fixture
def counted(group: Group, northfield: Farm, cards: list[Station]) -> Farm:
    """Seven weeks of Northfield's cards, the last (that of May 18) high; Card 2 always the highest, water near it."""
    with as_factory():
        Siting.objects.filter(farm=northfield, station_id=cards[1].id).update(near="water")
    for number, specks in enumerate(WEEKS):
        count_week(cards, monday(number), [specks, specks * 4, specks, specks, "lost"])
    check(group, monday(6))
    return northfield


def card(answer: Any) -> Any:
    return next(one for one in answer.json()["methods"] if one["method"] == "card")


def test_a_week_that_is_unlike_its_past(reader: Sender, counted: Farm):
    answer = reader.get(own_past(counted))
    assert answer.json()["week"] == "2026-05-18"
    one = card(answer)
    assert (one["run_length"], one["lent"], len(one["weeks"])) == (50, False, 7)
    last = one["weeks"][-1]
    assert (last["week"], last["word"], last["weeks_outside"], last["basis"]) == ("2026-05-18", "above", 1, "weeks")
    assert last["low"] < last["expected"] < last["high"] < last["level"]
    assert (one["weeks"][0]["reason"], one["weeks"][0]["level"]) == ("too_few_weeks", None)


def test_an_earlier_week_knows_nothing_of_later_ones(reader: Sender, counted: Farm):
    earlier = reader.get(f"{own_past(counted)}?week=2026-05-13")
    assert earlier.json()["week"] == "2026-05-11"
    assert card(earlier)["weeks"] == card(reader.get(own_past(counted)))["weeks"][:-1]


def test_stations_with_how_sure_it_is_and_what_to_ask(reader: Sender, counted: Farm, cards: list[Station]):
    answer = reader.get(effects(counted)).json()
    assert answer["week"] == "2026-05-18"
    found = {one["station_id"]: one for one in answer["stations"]}
    worst, lost = found[str(cards[1].id)], found[str(cards[4].id)]
    assert worst["effect"] > 1.5
    assert worst["low"] < worst["effect"] < worst["high"]
    assert worst["among_worst"] == worst["highest"] > 0.9
    assert (worst["worst"], worst["stations"], worst["weeks_at_top"]) == (1, 4, 7)
    assert worst["question"] == "may_only_rest_here"
    assert (lost["effect"], lost["among_worst"], lost["reason"], lost["question"]) == (None, None, "not_counted", "")


def test_a_farm_that_never_counted_is_told_so(reader: Sender, northfield: Farm):
    assert reader.get(own_past(northfield)).json()["methods"] == []
    assert {one["reason"] for one in reader.get(effects(northfield)).json()["stations"]} == {"no_counts"}


@pytest.mark.parametrize("path", [own_past, effects])
def test_strangers_find_nothing_and_what_is_not_a_day_is_refused(
    reader: Sender, carla: User, erik: User, counted: Farm, path: Any
):
    for stranger in (carla, erik):
        assert_problem(session_of(stranger).get(path(counted)), 404, "not_found")
    assert reader.get(f"{path(counted)}?week=soon").status_code == 422
    assert reader.get(f"{path(counted)}?method=card").status_code == 422
