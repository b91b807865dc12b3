import pytest

from farms.ids import uuid7
from monitoring.models import Reading
from tests.alerts.scene import count_week, monday
from tests.cast import as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def readings(northfield, cards):
    return count_week(cards, monday(6), [40, 50, "lost", 60, 70])


def page_of(farm, reading):
    return at("correct", farm, round_id=reading.round_id, reading_id=reading.id)


def sent(reading, **values):
    prefix = f"{reading.placement_id}-"
    plain = {"reading_id": uuid7(), "station": reading.station_id, "part": "1", "kind": "miscounted"}
    return {prefix + name: str(value) for name, value in (plain | values).items()}


def test_a_round_is_shown_as_it_was_walked(browser, ben, northfield, readings):
    client = browser(ben)
    assert "May 25, 2026 form" in words(client.get(at("rounds", northfield)))
    page = words(client.get(at("round", northfield, round_id=readings[0].round_id)))
    assert "Round of Monday, May 25" in page
    assert "Card 1 40 specks in 7 days" in page and "Card 3 lost" in page


def test_a_corrected_reading_stays_on_record_with_its_reason(browser, ben, northfield, readings):
    client = browser(ben)
    assert "It says now: 40 specks in 7 days" in words(client.get(page_of(northfield, readings[0])))
    answered = client.post(page_of(northfield, readings[0]), sent(readings[0], count=44), follow=True)
    page = words(answered)
    assert "Corrected." in page
    assert "Card 1 44 specks in 7 days before: 40 specks in 7 days, counted wrongly" in page
    with as_factory():
        assert Reading.objects.filter(farm=northfield, count=40).exists()


def test_a_reading_can_be_taken_back(browser, ben, northfield, readings):
    answered = browser(ben).post(page_of(northfield, readings[0]), sent(readings[0], kind="withdrawn"), follow=True)
    assert "Card 1 taken back before: 40 specks in 7 days, should not have been sent" in words(answered)


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"kind": "", "count": 44}, "Say why."),
        ({"kind": "nonsense", "count": 44}, ""),
        ({"count": ""}, "Say what it should be"),
        ({"count": 44, "reason": "lost"}, "Keep one of the two"),
        ({"count": 44, "taken_on": "2026-07-01"}, ""),
    ],
)
def test_a_correction_that_can_not_be_right_changes_nothing(browser, ben, northfield, readings, values, told):
    refused = browser(ben).post(page_of(northfield, readings[0]), sent(readings[0], **values))
    assert refused.status_code == 422 and told in words(refused)
    with as_factory():
        assert Reading.objects.filter(farm=northfield).count() == 5


def test_what_was_corrected_already_is_told_so(browser, anna, ben, northfield, readings):
    browser(anna).post(page_of(northfield, readings[0]), sent(readings[0], count=44))
    second = browser(ben).post(page_of(northfield, readings[0]), sent(readings[0], count=45))
    assert second.status_code == 422 and "already corrected" in words(second)


def test_a_reading_of_another_round_is_not_found(browser, ben, northfield, cards, readings):
    others = count_week(cards, monday(5), [1, 2, 3, 4, 5])
    address = at("correct", northfield, round_id=readings[0].round_id, reading_id=others[0].id)
    assert browser(ben).get(address).status_code == 404
