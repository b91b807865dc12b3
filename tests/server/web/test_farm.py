import re
from dataclasses import replace

import pytest
from django.urls import reverse

from alerts.models import AlertEvent
from alerts.selectors.own_past import PastWeek
from monitoring.models import Siting, Work
from server.web.own_past import while_within
from server.web.words import evidence_in_words, history_in_words
from tests.alerts.scene import alerts, check, count_week, monday
from tests.cast import as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db


@pytest.fixture
def season(group, northfield, cards, traps):
    """Seven weeks of Northfield, the last of them that of May 18: cards up and over, nothing counted in the fifth."""
    with as_factory():
        Siting.objects.filter(farm=northfield, station_id=cards[1].id).update(near="water")
    for number, specks in enumerate((20, 24, 33, 45, None, 80, 115)):
        if specks is not None:
            count_week(cards, monday(number), [specks, specks * 4, specks, specks, "lost"])
            count_week(traps, monday(number), [130, 150])
        check(group, monday(number))
    return northfield


def test_the_week_is_told_in_words_with_how_sure_it_is(browser, anna, season):
    page = words(browser(anna).get(at("farm", season)))
    assert "Week of May 18" in page
    # (115 + 460 + 115 + 115) / 4 = 201.25, after (80 + 320 + 80 + 80) / 4 = 140
    assert re.search(r"Cards: 201 specks a card \([\d,]+ to [\d,]+\), up from 140\.", page)
    assert "Over your action level of 100." in page
    assert "Card 2 hangs near water, so flies may only rest there" in page
    assert "Next round:" in page


def test_a_week_without_a_count_is_a_gap_in_picture_and_table(browser, anna, season):
    page = browser(anna).get(at("farm", season)).content.decode()
    table = page[page.index('<table class="weeks">') :]
    assert re.search(r'<tr class="missing"><th scope="row">May 4</th><td colspan="4">not counted</td>', table)
    chart = page[page.index('<div class="only-wide">') :]
    # Two runs of the line, with nothing drawn across the missing week.
    assert len(re.findall(r'class="mean"', chart[: chart.index("</svg>")])) >= 2
    assert " style=" not in page and "<script>" not in page


def test_how_a_number_was_got_is_one_tap_away(browser, anna, season):
    page = words(browser(anna).get(at("farm", season)))
    assert "The mean of 4 spot cards. 1 without a count are left out, not taken as zero." in page
    assert "80 in 5 days are told as 112" in page
    assert "The action level is the trade's usual one" in page
    assert "Raw counts of different dairies should not be compared" in page


def test_stations_say_their_last_count_their_share_and_what_to_ask(browser, anna, season):
    page = words(browser(anna).get(at("farm", season)))
    assert "Card 2 water near 460 specks in 7 days May 25 57 % of the week's catch." in page
    assert "Something close by draws flies, so they may only rest there." in page
    assert "Card 5 lost" in page


def test_an_open_matter_has_its_history_and_can_be_marked_as_seen(browser, ben, season):
    client = browser(ben)
    page = words(client.get(at("farm", season)))
    assert "Cards: over the action level" in page and "since the week of" in page
    found = next(alert for alert in alerts(season, rule="over", still_open=True))
    address = at("alert", season, alert_id=found.id)
    assert "opened" in words(client.get(address))
    seen = client.post(address, {"act": "seen"}, follow=True)
    assert "Noted. It stays open until the counts end it." in words(seen)
    with as_factory():
        assert AlertEvent.objects.filter(alert_id=found.id, kind="seen").count() == 1


def test_work_done_stands_in_the_list_and_above_the_weeks(browser, ben, season):
    client = browser(ben)
    sent = {"kind": "clean_out", "facility": "", "done_on": "2026-05-20", "thorough": "yes"}
    answered = client.post(at("work", season), sent, follow=True)
    assert "Noted." in words(answered)
    page = words(answered)
    assert "May 20: clean-out all of it" in page and "C clean-out, May 20" in page


@pytest.mark.parametrize(
    "sent",
    [
        {"kind": "clean_out", "done_on": "2026-06-02"},
        {"kind": "spray", "done_on": "2026-05-20"},
        {"kind": "fans", "done_on": "2026-05-20", "thorough": "yes"},
        {"kind": "fans", "done_on": "soon"},
    ],
)
def test_work_that_can_not_be_right_is_refused(browser, ben, northfield, sent):
    assert browser(ben).post(at("work", northfield), sent).status_code == 422
    with as_factory():
        assert not Work.objects.exists()


def test_a_round_skipped_ahead_moves_the_day_when_the_next_is_due(browser, ben, season):
    client = browser(ben)
    refused = client.post(at("skip", season), {"next_round_on": "2026-05-01"})
    assert refused.status_code == 422
    skipped = client.post(at("skip", season), {"next_round_on": "2026-06-15"}, follow=True)
    assert "Next round: Monday, June 15." in words(skipped)


def test_a_farm_without_a_season_is_told_so_calmly(browser, carla, southmead):
    page = words(browser(carla).get(at("farm", southmead)))
    assert "No week has been judged yet." in page and "Nothing is open." in page


def test_an_adviser_sees_the_farm_and_a_recorder_no_settings(browser, ben, dana, season):
    settings = at("settings", season)
    assert settings in browser(dana).get(at("farm", season)).content.decode()
    assert settings not in browser(ben).get(at("farm", season)).content.decode()


def test_the_page_asks_the_database_a_bounded_number_of_times(browser, anna, season, django_assert_max_num_queries):
    client = browser(anna)
    with django_assert_max_num_queries(62):
        client.get(at("farm", season))


def test_where_somebody_begins(browser, anna, dana, erik, northfield):
    home = reverse("home")
    assert browser(anna).get(home).url == at("farm", northfield)
    assert browser(dana).get(home).url == reverse("monday")
    assert browser(erik).get(home).url == reverse("group", args=[northfield.group_id])
    assert "One walk a week" in words(browser().get(home))


def test_the_list_of_farms_holds_those_that_let_one_in(browser, dana, northfield, southmead):
    farms = words(browser(dana).get(reverse("farms")))
    assert "Northfield" in farms and "Southmead" not in farms and "Monday list" in farms


def test_each_method_stands_against_the_farms_own_weeks(browser, anna, season):
    """Only six weeks were counted: too early for the last one, and said so with no empty picture."""
    page = browser(anna).get(at("farm", season))
    assert "Spot cards against this farm's own weeks Too early to tell" in words(page)
    assert "Jug traps against this farm's own weeks Too early to tell" in words(page)


def test_a_week_unlike_its_own_past_is_told_with_how_often_that_is_chance(browser, anna, group, northfield, cards):
    for number, specks in enumerate((20, 24, 19, 22, 26, 21, 80, 90)):
        count_week(cards, monday(number), [specks, specks * 4, specks, specks, "lost"])
    check(group, monday(7))
    page = browser(anna).get(at("farm", northfield))
    told = words(page)
    assert "Unlike its own past: higher than the weeks before let expect, for 2 weeks in a row." in told
    assert "A farm that stays level leaves the band by chance about once in 35 to 120 weeks." in told
    assert "In a first year the season itself can take it out of the band" in told
    section = page.content.decode().split('aria-labelledby="own-past-card"')[1].split("</section>")[0]
    assert section.count('class="unlike above"') == 4  # two weeks, in two widths
    for word in ("EWMA", "dispersion", "sigma", "limit"):
        assert word not in told


WITHIN = PastWeek(monday(7), 30.0, 20.0, 60.0, 28.0, "within", 0, "weeks", "")


@pytest.mark.parametrize(
    ("week", "trend", "told"),
    [
        (WITHIN, "rising", "It is the last weeks alone that rise: the level over many weeks does not stand out yet."),
        (WITHIN, "falling", "It is the last weeks alone that fall: the level over many weeks does not stand out yet."),
        (WITHIN, "level", ""),
        (replace(WITHIN, word="above"), "rising", ""),
    ],
)
def test_a_rise_that_its_own_past_does_not_show_yet_is_explained(week, trend, told):
    assert while_within(week, trend) == told


@pytest.mark.parametrize(
    ("kind", "low", "high", "told"),
    [
        ("stayed", 0.05, 0.4, "about a fifth more each week"),
        ("stayed", -0.05, 0.4, "how fast is too early to say"),
        ("opened", None, None, "how fast is too early to say"),
        ("closed", -0.1, 0.1, "no clear trend"),
    ],
)
def test_an_open_matter_is_as_sure_of_its_growth_as_the_result(kind, low, high, told):
    evidence = {"growth": 0.18, "growth_low": low, "growth_high": high}
    assert evidence_in_words(AlertEvent(kind=kind, evidence=evidence)) == told


def test_what_was_too_early_to_say_when_it_opened_is_no_news_weeks_later():
    unsure = {"growth": 0.18, "growth_low": -0.05, "growth_high": 0.4}
    opened = AlertEvent(kind="opened", week=monday(3), evidence=unsure)
    stayed = AlertEvent(kind="stayed", week=monday(4), evidence=unsure | {"growth_low": 0.05})
    assert history_in_words([opened]) == "since the week of April 27 (how fast is too early to say)"
    assert history_in_words([opened, stayed]) == "since the week of April 27; stayed for 1 week"


def test_a_station_that_lasts_at_the_top_is_a_question_to_check_on_the_spot(browser, anna, group, northfield, cards):
    for number in range(8):
        count_week(cards, monday(number), [20, 90, 24, 18 + number, 22])
    check(group, monday(7))
    told = words(browser(anna).get(at("farm", northfield)))
    # The question stands once, though the week's share asks it too.
    assert (
        "Card 2 90 specks in 7 days Jun 1 50 % of the week's catch. Over eight weeks very likely (9 in 10) the highest "
        "of all; the highest count for 8 weeks in a row. Nothing close by draws flies. Worth a look there first. "
        "Fly walk Card 2 Card 3"
    ) in told
