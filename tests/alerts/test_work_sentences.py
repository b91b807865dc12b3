"""What a mail and a page say became of the counts after a work."""

import re

import pytest
from django.utils.translation import override

from alerts.delivery.digest import queue_digests
from alerts.models import Digest
from alerts.wording.counts_needed import needed_sentence
from alerts.wording.works import back_phrase, how_told, share_phrase, share_range, since_then
from farms.ids import uuid7
from farms.models import Facility
from monitoring.models import Work
from monitoring.selectors.deeds import Deed
from monitoring.selectors.work_effects import REASONS, Needed, WorkEffect
from tests.alerts.scene import check, check_time, count_week, monday
from tests.cast import NOW, as_factory, as_role, make_facility, make_stations

HEIFERS = Facility(id=uuid7(), name="Heifer barn", kind="heifer_barn")
SHED = Facility(id=uuid7(), name="East shed", kind="other")
PLACES = {place.id: place for place in (HEIFERS, SHED)}


def told(ratio, low, high, *, others=(HEIFERS,), **fields):
    effect = WorkEffect(
        fields.pop("reason", ""), method="card", ratio=ratio, low=low, high=high,
        compared_with=tuple(place.id for place in others), weeks_before=4, weeks_after=3, **fields,
    )  # fmt: skip
    return " ".join(since_then(effect, PLACES))


def test_about_half_as_many_as_the_other_barn_leads_to_expect():
    assert told(0.5, 0.33, 0.75) == (
        "Since then about half as many as the heifer barn would lead to expect (a third to three quarters)."
    )


def test_several_others_are_not_counted_up():
    assert "as the other barns and lots would lead to expect (" in told(0.5, 0.33, 0.75, others=(HEIFERS, SHED))


def test_an_interval_that_holds_no_change_is_no_clear_difference():
    assert told(0.8, 0.4, 1.6) == (
        "Since then no clear difference from what the heifer barn would lead to expect (a third to half as many again)."
    )


def test_more_than_expected_is_told_as_calmly():
    assert told(2.1, 1.3, 3.4).startswith("Since then about twice as many as the heifer barn would lead to expect (")


def test_without_a_comparison_weather_may_have_done_it():
    words = told(0.5, 0.33, 0.75, others=(), reason="no_comparison")
    assert words == (
        "Since then about half as many as before it (a third to three quarters). There is nothing to compare it with, "
        "so weather may have done it."
    )
    assert told(0.9, 0.5, 1.5, others=(), reason="no_comparison").startswith("Since then no clear change (half to ")


def test_a_fall_in_very_hot_weeks_is_not_called_the_works():
    assert told(0.5, 0.33, 0.75, weather="hot").endswith(
        "It was very hot in these weeks, which keeps counts low by itself."
    )
    assert "below 15 °C" in told(0.5, 0.33, 0.75, weather="cold")
    # A rise in spite of the heat needs no such word.
    assert "hot" not in told(2.0, 1.5, 3.0, weather="hot")


def test_a_fall_in_the_heat_without_a_comparison_is_not_told_as_one():
    words = told(0.5, 0.33, 0.75, others=(), reason="no_comparison", weather="hot")
    assert words.startswith("Since then: can't tell. There are fewer, but nothing to compare it with. It was very hot")
    assert "half" not in words


def test_beside_the_region_it_says_so():
    assert "half as many as the region's published weeks would lead to expect" in told(
        0.5, 0.33, 0.75, others=(), with_region=True
    )


BEDDING = Deed(uuid7(), uuid7(), "bedding", "bedding change", monday(2), monday(2))


def test_what_was_done_at_one_time_is_not_credited_and_told_as_one():
    joint = WorkEffect("", "card", 0.5, 0.33, 0.75, compared_with=(HEIFERS.id,), weeks_before=4, weeks_after=3)
    effect = WorkEffect("together", "card", together_with=(BEDDING,), joint=joint)
    assert " ".join(since_then(effect, PLACES)) == (
        "Since then: can't tell it apart from what else was done there at about that time (bedding change, April 20). "
        "Of all of it together: Since then about half as many as the heifer barn would lead to expect (a third to three"
        " quarters)."
    )
    assert how_told(effect).startswith("Cards, 4 weeks before and 3 after")
    many = WorkEffect("together", "card", together_with=(BEDDING,) * 5)
    assert since_then(many, PLACES)[0].count("bedding change") == 3 and "and more)" in since_then(many, PLACES)[0]


@pytest.mark.parametrize(
    ("needed", "words"),
    [
        (Needed(1, 1), "About 1 more week of counts would tell a fall by half."),
        (Needed(3, 1, is_half=False), "About 3 more weeks of counts would tell a change of this size."),
        (Needed(0, 1), "Another time, four weeks of counts before it and four after would tell a fall by half."),
        (Needed(0, 3), "before and after with three times as many cards would tell a fall by half."),
        (Needed(0, 0), "Even four times as many would hardly tell a fall by half here"),
    ],
)
def test_what_would_tell(needed, words):
    unclear = WorkEffect("", "card", 0.8, 0.4, 1.6, needed=needed, settled_on=monday(5))
    assert words in needed_sentence(unclear)


def test_when_it_will_show_where_it_is_early():
    early = WorkEffect("too_early", "card", needed=Needed(3, 1), settled_on=monday(5))
    assert needed_sentence(early) == "By about June 1 a fall by half would show, if counting goes on."
    assert needed_sentence(WorkEffect("", "card", 0.5, 0.3, 0.8)) == ""
    assert "three weeks between" in needed_sentence(WorkEffect("together", "card"))


def test_cards_too_full_to_count_make_it_rough():
    assert "take this as rough" in told(0.5, 0.33, 0.75, at_least=True)


@pytest.mark.parametrize("reason", [reason for reason in REASONS if reason not in ("", "no_comparison", "together")])
def test_why_nothing_can_be_told_is_said(reason):
    words = since_then(WorkEffect(reason), PLACES)
    assert len(words) == 1 and words[0].startswith("Since then: ")


def test_no_word_of_praise_or_blame_is_among_them():
    praise = r"success|worked|well done|good|great|failed|should|wrong|bad|effective|treatment"
    words = [told(ratio, ratio / 2, ratio * 1.5, weather="hot", at_least=True) for ratio in (0.05, 0.5, 0.9, 1.2, 5)]
    assert re.findall(praise, " ".join(words), re.IGNORECASE) == []


def test_every_share_has_its_words():
    assert [share_phrase(ratio) for ratio in (0.02, 0.25, 1.0, 1.5, 9)] == [
        "less than a tenth as many as", "about a quarter as many as", "about as many as",
        "about half as many again as", "more than four times as many as",
    ]  # fmt: skip
    assert share_range(0.34, 0.36) == "about a third"
    assert share_range(0.01, 30) == "next to none to ten times as many or more"


def test_from_what_it_is_told():
    effect = WorkEffect("", method="card", ratio=0.48, low=0.3, high=0.77, weeks_before=4, weeks_after=3)
    assert (
        how_told(effect)
        == "Cards, 4 weeks before and 3 after: \N{MINUS SIGN}52 % (\N{MINUS SIGN}70 to \N{MINUS SIGN}23 %)."
    )
    assert how_told(WorkEffect("too_early", method="card")) == ""
    wide = WorkEffect("", method="trap", ratio=1.0, low=0.2, high=20.0, until=monday(3))
    assert "0 % (\N{MINUS SIGN}80 to more than +1000 %). Looked at until April 27" in how_told(wide)


def test_when_they_would_be_back():
    assert back_phrase(3).endswith("after about a week.")
    assert back_phrase(35).endswith("after about 5 weeks.")
    assert back_phrase(200) == ""


@pytest.fixture
def cleaned(group, northfield, cards, calf_barn):
    """Northfield, its calf barn cleaned on the Monday of week 5 and half as full from then on."""
    others = make_stations(make_facility(northfield, "Heifer barn", "heifer_barn", 4), "card", range(6, 11))
    with as_factory():
        Work.objects.create(
            farm=northfield, facility_id=calf_barn.id, kind="clean_out", done_on=monday(5), actor_kind="farm_staff",
            recorded_at=NOW, entry=0,
        )  # fmt: skip
    for number, weather in enumerate((1.0, 1.2, 0.9, 1.1, 1.0, 1.3, 0.8, 1.0, 1.2), start=1):
        left = 1.0 if number < 5 else 0.5
        count_week(cards, monday(number), [round(weather * left * each) for each in (80, 96, 70, 110, 90)])
        count_week(others, monday(number), [round(weather * each) for each in (60, 66, 58, 40, 75)])
    return northfield


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("week", "words"),
    [
        (5, "Since then: too early to tell."),
        (9, "Since then about half as many as the heifer barn would lead to expect (about half)."),
    ],
)
def test_the_mail_says_what_became_of_the_last_work(group, cleaned, week, words):
    check(group, monday(week))
    with as_role("worker"):
        queue_digests(group, [cleaned], week=monday(week), now=check_time(monday(week)))
    with as_factory():
        text = " ".join(Digest.objects.get().text.split())
    assert "Last noted: clean-out in the calf barn, May 11 (C in the chart). " + words in text


@pytest.mark.django_db
def test_a_work_of_long_ago_is_named_and_no_more(group, cleaned):
    check(group, monday(18))
    with as_role("worker"):
        queue_digests(group, [cleaned], week=monday(18), now=check_time(monday(18)))
    with as_factory():
        text = " ".join(Digest.objects.get().text.split())
    assert "Last noted: clean-out in the calf barn, May 11." in text and "Since then" not in text


def test_in_spanish_it_is_put_together_from_whole_phrases():
    with override("es"):
        assert told(0.5, 0.33, 0.75)
