"""The trend over the weeks that a program asks for."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest

from farms.models import Farm
from monitoring.models import Station
from tests.alerts.scene import count_week, monday
from tests.server.api.senders import Sender

pytestmark = pytest.mark.django_db
Cards = Callable[..., dict[str, Any]]


@pytest.fixture
def growing(northfield: Farm, cards: list[Station]) -> Farm:
    """Seven weeks in which every card doubles, and two in which it stands still."""
    for number, specks in enumerate((4, 8, 16, 32, 64, 128, 256, 256, 256)):
        count_week(cards, monday(number), [specks] * len(cards))
    return northfield


@pytest.fixture
def cards_of(reader: Sender, growing: Farm) -> Cards:
    def asked(week: date, **query: int) -> dict[str, Any]:
        answer = reader.get(f"/api/v1/farms/{growing.id}/trend", {"week": week.isoformat(), **query})
        assert answer.status_code == 200, answer.content
        return next(each for each in answer.json()["methods"] if each["method"] == "card")

    return asked


def test_what_doubles_every_week_is_said_to(cards_of: Cards):
    cards = cards_of(monday(6))
    assert (cards["weeks_observed"], cards["reason"], cards["borrowed"]) == (7, "", "printed")
    assert cards["growth"] == pytest.approx(0.6931, abs=1e-3)
    assert cards["doubling"] == pytest.approx(1, abs=1e-2)
    assert cards["low"] <= cards["growth"] <= cards["high"]


def test_a_shorter_window_sees_the_standstill(cards_of: Cards):
    assert cards_of(monday(8), weeks=4)["growth"] < cards_of(monday(8), weeks=9)["growth"]


def test_too_few_weeks_is_an_answer_with_its_reason(cards_of: Cards):
    cards = cards_of(monday(2))
    assert (cards["growth"], cards["doubling"], cards["reason"]) == (None, None, "too_few_weeks")


@pytest.mark.parametrize("weeks", [3, 13, "many"])
def test_other_windows_are_refused(reader: Sender, northfield: Farm, weeks: object):
    answer = reader.get(f"/api/v1/farms/{northfield.id}/trend", {"weeks": weeks})
    assert answer.status_code == 422
    assert "weeks" in answer.content.decode()
