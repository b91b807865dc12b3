"""Kept out, on pages: typed by who may record, told above a round in both languages, and never judged."""

import re
from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from farms.ledger import Actor
from farms.services import make_phone_code
from monitoring.models import Placement, Reading, Reentry
from monitoring.services import ReentryTyped, record_reentry
from server.web.kept_out import long_clock
from tests.cast import NOW, acting, as_factory
from tests.monitoring.sending import hang
from tests.server.web.pages import at, hidden_fields, words
from tests.server.web.rounds import Sheet

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
# NOW is 7:00 at Northfield, on Monday, June 1.
TYPED = {
    "facility_id": "", "begins_on": "2026-06-01", "begins_clock": "07:00", "ends_on": "2026-06-02",
    "ends_clock": "18:30", "label_says": "do not enter until dry",
}  # fmt: skip
LAW = "The label is the law. Ask before you go in."


def record(farm, by, begins=NOW, until=NOW + 12 * HOUR, barn=None, mending=None):
    typed = ReentryTyped(begins, until, "do not enter until dry", barn)
    with acting(by):
        return record_reentry(
            farm=farm, typed=typed, actor=Actor("farm_staff", by.id), now=NOW - HOUR, mending=mending
        )  # fmt: skip


class TestTyping:
    def test_it_is_typed_by_the_farms_clock_and_shown(self, browser, ben, northfield, calf_barn):
        client, page = browser(ben), at("kept_out", northfield)
        sent = client.post(page, TYPED | {"facility_id": str(calf_barn.id)}, headers={"Accept-Language": "en"})
        assert (sent.status_code, sent.url) == (302, page)
        with as_factory():
            row = Reentry.objects.get()
        assert (row.begins_at, row.until) == (NOW, datetime(2026, 6, 2, 23, 30, tzinfo=UTC))
        assert (row.facility_id, row.typed_by, row.actor_kind) == (calf_barn.id, ben.id, "farm_staff")

    @pytest.mark.parametrize(
        ("wrong", "says"),
        [
            ({"ends_clock": "06:00", "ends_on": "2026-06-01"}, "It ends before it begins"),
            ({"ends_on": "2026-08-20"}, "more than 60 days"),
            ({"ends_on": "9999-12-31", "ends_clock": "23:59"}, "Check the day and its year"),
            ({"begins_on": "0001-01-01"}, "This year can't be meant"),
            ({"ends_clock": ""}, "Type the time as hours and minutes"),
            ({"ends_clock": "half past six"}, "Type the time as hours and minutes"),
            ({"label_says": ""}, "required"),
            (
                {"begins_on": "2026-03-08", "begins_clock": "02:30", "ends_on": "2026-03-09"},
                "doesn't exist on that day",
            ),
        ],
    )
    def test_what_cant_be_right_stays_on_the_page_with_a_sentence(self, browser, anna, northfield, wrong, says):
        refused = browser(anna).post(at("kept_out", northfield), TYPED | wrong)
        assert refused.status_code == 422 and says in words(refused)
        assert "do not enter until dry" in refused.content.decode() or "label_says" in wrong
        with as_factory():
            assert not Reentry.objects.exists()

    def test_a_typing_error_is_mended_and_both_are_told(self, browser, anna, northfield):
        first = record(northfield, anna, until=NOW + 48 * HOUR)
        client, page = browser(anna), at("mend_kept_out", northfield, reentry_id=first.id)
        shown = client.get(page)
        assert 'value="2026-06-03"' in shown.content.decode()
        assert "This field is required" in words(client.post(page, TYPED))
        assert client.post(page, TYPED | {"why": "<b>wrong</b> day"}).status_code == 302
        text = words(client.get(at("kept_out", northfield)))
        assert (
            "Typed before: until Wednesday, June 3, 2026, 07:00 (7:00 a.m.). Changed by Anna: “<b>wrong</b> day”"
            in text
        )
        assert "Changed since: the time above holds no longer, and stays on record." in text
        assert "already changed" in words(client.post(page, TYPED | {"why": "again"}))
        with as_factory():
            assert Reentry.objects.count() == 2

    def test_strangers_find_nothing_and_a_phone_types_nothing(self, browser, anna, carla, erik, northfield):
        row = record(northfield, anna)
        for page in (at("kept_out", northfield), at("mend_kept_out", northfield, reentry_id=row.id)):
            for who in (carla, erik):
                assert (browser(who).get(page).status_code, browser(who).post(page, TYPED).status_code) == (404, 404)
            assert browser().post(page, TYPED).status_code == 302
            assert phone_of(browser, anna, northfield).post(page, TYPED).status_code == 403
        with as_factory():
            assert Reentry.objects.count() == 1

    def test_another_farms_is_not_mended_under_ones_own_address(self, browser, anna, carla, northfield, southmead):
        row = record(northfield, anna)
        page = at("mend_kept_out", southmead, reentry_id=row.id)
        assert browser(carla).post(page, TYPED | {"why": "mine"}).status_code == 404


def phone_of(browser, owner, farm):
    with acting(owner):
        code = make_phone_code(farm=farm, by=owner, now=timezone.now())[1]
    phone = browser()
    phone.post(reverse("phone"), {"code": code})
    return phone


class TestARound:
    def test_it_opens_with_what_runs_as_a_picture_and_in_both_languages(self, browser, anna, northfield, calf_barn):
        record(northfield, anna, barn=calf_barn)
        page = phone_of(browser, anna, northfield).get(at("count", northfield))
        html, text = page.content.decode(), words(page)
        assert '<svg class="kept-out-picture"' in html
        assert html.index("kept-out-picture") < html.index('class="round"')
        for language in ("en", "es"):
            assert f'<div lang="{language}">' in html
        assert "Calf barn" in text and "Until Monday, June 1, 2026, 19:00 (7:00 p.m.)." in text
        assert "Typed by Anna on Monday, June 1, 2026, 06:00 (6:00 a.m.)." in text
        assert text.count("do not enter until dry") == 2 and LAW in text
        # Known when the page was made, for when it is old: hidden until the script says so.
        assert "was known on Monday, June 1, 2026, 07:00 (7:00 a.m.). Ask before you go in." in text
        assert 'data-ends-in="43200"' in html and "data-old hidden" in html

    def test_its_stations_are_kept_out_already_and_the_others_are_not(
        self, browser, anna, northfield, cards, calf_barn, free_stall_barn
    ):
        client = browser(anna)
        assert kept_out_stations(client, northfield) == []
        record(northfield, anna, barn=calf_barn)
        assert kept_out_stations(client, northfield) == [f"Card {number}" for number in range(1, 6)]
        record(northfield, anna)
        assert len(kept_out_stations(client, northfield)) == 8

    def test_what_is_preset_is_stored_as_kept_out_and_leaves_the_cards_up(
        self, browser, anna, northfield, cards, calf_barn
    ):
        with acting(anna):
            hang(northfield, cards)
        record(northfield, anna, barn=calf_barn)
        sheet = Sheet(browser(anna), northfield)
        for card in cards:  # as it is chosen on the page
            sheet.type(card, reason="kept_out")
        assert sheet.send().status_code == 302
        with as_factory():
            found = list(Reading.objects.filter(farm=northfield))
        assert {(each.reason, each.count) for each in found} == {("kept_out", None)} and len(found) == 5

    def test_a_count_takes_the_reason_away_that_only_the_page_chose(self, browser, anna, northfield, cards, calf_barn):
        with acting(anna):
            hang(northfield, cards)
        record(northfield, anna, barn=calf_barn)
        sheet = Sheet(browser(anna), northfield)
        # As without scripts: what stands there is sent, and a number was typed beside it.
        for card in cards:
            sheet.type(card, reason="kept_out")
        sheet.type(cards[0], count="4o").type(cards[1], count="0", part="0.5").type(cards[2], reason="lost", count="7")
        wrong = sheet.send()
        assert wrong.status_code == 422 and links_to_wrong(wrong) == ["Card 1"]
        # The page that came back still knows what it chose itself.
        shown = hidden_fields(wrong)
        assert {shown[f"{sheet.prefix_of(card)}-preset"] for card in cards} == {"kept_out"}
        # A reason that somebody chose does not give way.
        assert links_to_wrong(sheet.type(cards[0], count="41").send()) == ["Card 3"]
        assert sheet.type(cards[2], count="").send().status_code == 302
        with as_factory():
            found = Reading.objects.filter(farm=northfield).order_by("station__number")
            read = [(each.count, each.reason, each.placement_id is not None) for each in found]
        assert read == [
            (41, "", True), (0, "", True), (None, "lost", True), (None, "kept_out", True), (None, "kept_out", True),
        ]  # fmt: skip

    def test_a_card_hung_where_none_was_takes_it_away_too(self, browser, anna, northfield, cards, calf_barn):
        """Somebody may have been let in meanwhile: what they say hangs now is not dropped in silence."""
        record(northfield, anna, barn=calf_barn)
        sheet = Sheet(browser(anna), northfield)
        assert not any(name.endswith("-fresh") and name.startswith(str(cards[0].id)) for name in sheet.fields)
        for card in cards:
            sheet.type(card, reason="kept_out")
        assert sheet.type(cards[0], fresh="on").send().status_code == 302
        with as_factory():
            hung = Placement.objects.filter(station__in=cards).values_list("station_id", flat=True)
            assert list(hung) == [cards[0].id]
            left = Reading.objects.filter(reason="kept_out").values_list("station_id", flat=True)
            assert set(left) == {card.id for card in cards[1:]}

    def test_kept_out_that_a_person_chose_beside_a_count_is_asked_about(self, browser, anna, northfield, cards):
        with acting(anna):
            hang(northfield, cards)
        sheet = Sheet(browser(anna), northfield).type(cards[0], reason="kept_out", count="41")
        refused = sheet.send()
        assert refused.status_code == 422 and links_to_wrong(refused) == ["Card 1"]
        with as_factory():
            assert not Reading.objects.exists()

    def test_before_and_after_it_is_told_and_nothing_is_preset(self, browser, anna, northfield, calf_barn):
        record(northfield, anna, NOW + 2 * HOUR, NOW + 6 * HOUR, calf_barn)
        record(northfield, anna, NOW - 6 * HOUR, NOW - 2 * HOUR)
        client = browser(anna)
        text = words(client.get(at("count", northfield)))
        assert "From Monday, June 1, 2026, 09:00 (9:00 a.m.) until Monday, June 1, 2026, 13:00 (1:00 p.m.)." in text
        assert (
            "The label's time typed here has ended on Monday, June 1, 2026, 05:00 (5:00 a.m.). "
            "Ask whoever sprayed before you go in." in text
        )
        assert kept_out_stations(client, northfield) == []

    def test_where_nothing_is_typed_an_old_page_still_says_how_old_it_is(self, browser, anna, northfield):
        page = browser(anna).get(at("count", northfield))
        assert "kept-out-picture" not in page.content.decode()
        assert "What is told here of barns was known on Monday, June 1, 2026" in words(page)

    def test_another_farms_is_not_told(self, browser, anna, carla, northfield, southmead):
        record(northfield, anna)
        assert LAW not in words(browser(carla).get(at("count", southmead)))


def links_to_wrong(page):
    """The stations that a refused round names at its top."""
    return re.findall(r'<a href="#at-[^"]*">([^<]*)</a>', page.content.decode())


def kept_out_stations(client, farm):
    """The stations of a round's page of which "kept out" is chosen."""
    html = client.get(at("count", farm)).content.decode()
    found = []
    for part in html.split('<div class="station"')[1:]:
        chosen = [tag for tag in part.split("<input")[1:] if 'value="kept_out"' in tag.split(">")[0]]
        if any("checked" in tag.split(">")[0] for tag in chosen):
            found.append(part.split("<h3")[1].split(">", 1)[1].split("<")[0].strip())
    return found


def test_the_farms_page_says_how_long_still(browser, ben, anna, northfield):
    record(northfield, anna, until=NOW + timedelta(hours=5, minutes=20))
    text = words(browser(anna).get(at("farm", northfield)))
    assert "Kept out: the whole farm Until Monday, June 1, 2026, 12:20 (12:20 p.m.)." in text
    assert "That is 5 hours, 20 minutes from now." in text


def test_in_the_hour_that_a_clock_shows_twice_its_zone_stands_beside_it():
    first, second = (datetime(2026, 11, 1, hour, 30, tzinfo=UTC) for hour in (6, 7))
    assert long_clock(first, "America/Chicago") == "Sunday, November 1, 2026, 01:30 (1:30 a.m.) CDT"
    assert long_clock(second, "America/Chicago") == "Sunday, November 1, 2026, 01:30 (1:30 a.m.) CST"
    assert long_clock(second + HOUR, "America/Chicago") == "Sunday, November 1, 2026, 02:30 (2:30 a.m.)"
    assert long_clock(datetime(2026, 6, 1, 5, tzinfo=UTC), "America/Chicago").endswith("00:00 (12:00 a.m.)")
