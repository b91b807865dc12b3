"""The list of work done with what followed, and the page that reckons what a work costs and may save."""

import pytest

from alerts.models import Assessment
from monitoring.models import Work
from tests.alerts.scene import check, count_week, monday
from tests.cast import NOW, as_factory, make_facility, make_stations
from tests.server.web.pages import at, words

# What was done on the whole farm is set beside what the region published.
pytestmark = pytest.mark.django_db(databases=("default", "region"))
NUMBERS = {
    "price": "0.5", "loss_per_fly": "0.1", "loss_source": "a bulletin <b>of ours</b>", "cost": "300", "animals": "100",
    "days": "30", "share_gone": "50",
}  # fmt: skip


@pytest.fixture
def cleaned(group, northfield, cards, calf_barn):
    """Seven weeks; on the Monday of week 3 the calf barn was cleaned, and since then has half as many."""
    others = make_stations(make_facility(northfield, "Heifer barn", "heifer_barn", 4), "card", range(6, 11))
    with as_factory():
        for day, place in ((monday(3), calf_barn.id), (monday(7), None)):
            Work.objects.create(
                farm=northfield, facility_id=place, kind="clean_out", done_on=day, actor_kind="farm_staff",
                recorded_at=NOW, entry=0,
            )  # fmt: skip
    for number, weather in enumerate((1.0, 1.2, 0.9, 1.1, 1.0, 1.3, 0.8)):
        left = 1.0 if number < 3 else 0.5
        count_week(cards, monday(number), [round(weather * left * each) for each in (80, 96, 70, 110, 90)])
        count_week(others, monday(number), [round(weather * each) for each in (60, 66, 58, 40, 75)])
    check(group, monday(6))
    return northfield


@pytest.mark.parametrize("page", ["work", "farm"])
def test_what_followed_stands_beside_each_work(browser, anna, cleaned, page):
    text = words(browser(anna).get(at(page, cleaned)))
    assert "Apr 27: clean-out, Calf barn Since then about half as many as the heifer barn would lead to expect" in text
    assert "May 25: clean-out Since then: too early to tell." in text


def test_from_what_it_is_told_stands_on_the_page_of_work(browser, anna, cleaned):
    text = words(browser(anna).get(at("work", cleaned)))
    assert "Cards, 3 weeks before and 3 after: \N{MINUS SIGN}50 % (" in text
    assert "Looked at until May 25, the day of the next work there." in text
    assert "high counts come down somewhat by themselves" in text


def test_the_break_even_with_ones_own_numbers(browser, anna, northfield):
    text = words(browser(anna).get(at("worth", northfield), NUMBERS))
    assert "It pays for itself from 4 stable flies an animal on." in text
    assert "If a fly takes half as much from 8 an animal on If a fly takes twice as much from 2 an animal on" in text
    assert "that number is yours: “a bulletin <b>of ours</b>”." in text
    assert "Legs were not counted in the newest week" in text


@pytest.mark.parametrize(
    ("flies", "verdict"), [(8, "That is over it"), (1, "That is below it"), (4, "too little was counted to say")]
)
def test_this_weeks_legs_stand_beside_it(browser, anna, group, northfield, leg_station, flies, verdict):
    # Two animals give no range: then too little was counted.
    count_week([leg_station], monday(6), [[flies] * (2 if flies == 4 else 12)])
    check(group, monday(6))
    if flies != 4:
        with as_factory():
            Assessment.objects.filter(method="leg").update(low=flies - 0.5, high=flies + 0.5)
    text = words(browser(anna).get(at("worth", northfield), NUMBERS))
    assert f"Leg counts of the newest week: {flies} flies an animal" in text and verdict in text


def test_a_page_without_numbers_asks_for_them_and_suggests_none(browser, dana, northfield):
    page = browser(dana).get(at("worth", northfield))
    assert (
        page.status_code == 200
        and 'value="' not in page.content.decode().split('<form method="get"')[1].split("</form>")[0]
    )
    text = words(page)
    assert "139 kg (306 lb)" in text and "it does not say what one fly takes" in text
    assert "No loss of milk to house flies has been shown" in text


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("price", "0", "Type a number above zero."),
        ("price", "nan", "Type a number, such as 80."),
        ("loss_per_fly", "inf", "Type a number, such as 80."),
        ("loss_per_fly", "", "Type a number."),
        ("loss_source", "", "Say where it comes from"),
        ("cost", "-1", "Type a number above zero."),
        ("animals", "1e30", "more than can be meant"),
        ("days", "400", "more than can be meant"),
        ("share_gone", "101", "more than can be meant"),
    ],
)
def test_what_can_not_be_a_number_is_asked_for_again(browser, anna, northfield, field, value, says):
    page = browser(anna).get(at("worth", northfield), NUMBERS | {field: value})
    assert page.status_code == 422
    text = words(page)
    assert says in text and "It pays for itself" not in text


def test_a_number_that_is_far_off_is_not_spelt_out(browser, anna, northfield):
    text = words(browser(anna).get(at("worth", northfield), NUMBERS | {"cost": "1e9", "loss_per_fly": "0.000001"}))
    assert "from more than 1,000 stable flies an animal on" in text


def test_nothing_can_be_sent_to_it(browser, anna, northfield):
    assert browser(anna).post(at("worth", northfield), NUMBERS).status_code == 405
