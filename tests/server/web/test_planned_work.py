"""Planned work on pages: one tap, who was quicker, a day left out, a plan ended, and a work taken back."""

from datetime import timedelta

import pytest

from farms.ids import uuid7
from farms.ledger import Actor
from monitoring.models import PlannedStep, PlannedWork, Work, WorkTakenBack
from monitoring.selectors import works_of
from monitoring.services import WorkDone, WorkPlanned, as_planned, plan_work, record_work
from tests.cast import NOW, acting, as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db
TODAY, WEEK = NOW.date(), timedelta(weeks=1)


@pytest.fixture(autouse=True)
def today(standing_clock):
    """Pages are seen on the cast's Monday."""


def planned(farm, who, kind="clean_out", first_day=TODAY, days_ago=0, **more):
    now, actor = NOW - timedelta(days=days_ago), Actor("farm_staff", who.id)
    with acting(who):
        return plan_work(farm=farm, plan=WorkPlanned(kind, first_day, **more), actor=actor, now=now)


def weekly(farm, who, **more):
    return planned(farm, who, every=1, unit="week", last_day=TODAY + 3 * WEEK, **more)


def tap(client, farm, row, day=TODAY, **more):
    return client.post(at("planned_work_done", farm, planned_work_id=row.id), {"day": day} | more, follow=True)


@pytest.mark.parametrize("page", ["farm", "work", "planned_works"])
def test_what_is_due_stands_on_the_page_with_its_words_and_one_tap(browser, anna, northfield, cards, calf_barn, page):
    planned(northfield, anna, first_day=TODAY - 2 * timedelta(days=1), days_ago=2, facility=calf_barn,
            words="behind the <b>hutches</b>")  # fmt: skip
    planned(northfield, anna, "fans", TODAY + timedelta(days=7))
    planned(northfield, anna, "screens", TODAY + timedelta(days=8))
    text = words(browser(anna).get(at(page, northfield)))
    assert (
        "What is due Clean-out, Calf barn overdue since Saturday, May 30 behind the <b>hutches</b> Done today" in text
    )
    assert "In the next seven days: Monday, June 8: fans" in text and "Tuesday, June 9" not in text


def test_one_tap_notes_it_and_leads_back_to_where_it_was_tapped(browser, anna, northfield, cards, calf_barn):
    row = weekly(northfield, anna, facility=calf_barn)
    page = tap(browser(anna), northfield, row, back="farm")
    assert page.redirect_chain[-1][0] == at("farm", northfield)
    assert "Noted: clean-out, Calf barn, June 1." in words(page)
    with as_factory():
        work = Work.objects.get()
    assert (work.planned_id, work.planned_for, work.facility_id) == (row.id, TODAY, calf_barn.id)
    assert "Done today" not in words(browser(anna).get(at("farm", northfield)))


def test_whoever_taps_second_is_told_who_did_and_ones_own_second_tap_is_no_news(browser, anna, ben, northfield, cards):
    row = weekly(northfield, anna)
    tap(browser(ben), northfield, row)
    assert "Ben noted it already. It stands once." in words(tap(browser(anna), northfield, row))
    client = browser(ben)
    client.cookies["django_language"] = "en"
    assert "noted it already" not in words(tap(browser(ben), northfield, row))
    with acting(anna):
        assert works_of(northfield).count() == 1


@pytest.mark.parametrize("day", ["2026-06-02", "soon", ""])
def test_a_day_that_is_none_of_the_plans_is_refused_with_a_sentence(browser, anna, northfield, cards, day):
    row = weekly(northfield, anna)
    text = words(tap(browser(anna), northfield, row, day))
    assert "Choose one of its days" in text or "its day is missing" in text
    with as_factory():
        assert not Work.objects.exists()


def test_an_application_has_no_tap_but_its_cautions(browser, anna, northfield, cards):
    row = planned(northfield, anna, "application", use_kind="bait")
    page = browser(anna).get(at("work", northfield))
    assert "The label and local rules come first" in words(page) and "Done today" not in words(page)
    assert f"{at('new_application', northfield)}?planned={row.id}&amp;day={TODAY}" in page.content.decode()
    assert "no such kind of work" in words(tap(browser(anna), northfield, row))


def test_more_than_one_tap_says_is_noted_in_the_form_for_the_planned_day(browser, anna, northfield, cards):
    row = weekly(northfield, anna, kind="wasps", species="Spalangia", number=5000)
    client = browser(anna)
    page = client.get(at("work", northfield), {"planned": row.id, "day": TODAY.isoformat()})
    filled = page.context["form"].initial
    sent = {
        "kind": filled["kind"], "facility": "", "done_on": TODAY - timedelta(days=1), "species": filled["species"],
        "number": "4800", "batch": "B-7", "planned": filled["planned"], "planned_for": filled["planned_for"],
    }  # fmt: skip
    assert client.post(at("work", northfield), sent).status_code == 302
    with as_factory():
        work = Work.objects.get()
    assert (work.species, work.number, work.batch, work.planned_for) == ("Spalangia", 4800, "B-7", TODAY)


class TestPlanning:
    SENT = {"kind": "clean_out", "facility": "", "first_day": "2026-06-01", "every": "2", "unit": "week",
            "last_day": "2026-08-31", "words": "north wall"}  # fmt: skip

    def test_a_plan_is_made_and_told(self, browser, anna, northfield):
        client = browser(anna)
        assert client.post(at("planned_works", northfield), self.SENT).status_code == 302
        text = words(client.get(at("planned_works", northfield)))
        assert "Clean-out every 2 weeks, from Jun 1, 2026 to Aug 31, 2026 north wall" in text

    def test_once_needs_no_last_day_though_a_unit_is_always_chosen(self, browser, anna, northfield):
        sent = self.SENT | {"every": "", "last_day": ""}
        assert browser(anna).post(at("planned_works", northfield), sent).status_code == 302
        with as_factory():
            assert (PlannedWork.objects.get().every, PlannedWork.objects.get().unit) == (None, "")

    @pytest.mark.parametrize(
        ("wrong", "says"),
        [
            ({"last_day": ""}, "needs a last day"),
            ({"every": ""}, "Say how often"),
            ({"every": "0"}, "Type a whole number"),
            ({"first_day": "2026-05-31"}, "this day has passed"),
            ({"species": "Spalangia"}, "Only parasitic wasps"),
            ({"words": "x" * 201}, "200"),
        ],
    )
    def test_what_cant_be_is_said_beside_its_field_and_what_was_typed_stays(
        self, browser, anna, northfield, wrong, says
    ):
        page = browser(anna).post(at("planned_works", northfield), self.SENT | wrong)
        assert page.status_code == 422 and says in words(page)
        with as_factory():
            assert not PlannedWork.objects.exists()


class TestSteps:
    def page_of(self, farm, row):
        return at("planned_work", farm, planned_work_id=row.id)

    def test_a_day_is_left_out_with_why_and_the_plan_ended(self, browser, anna, northfield, cards):
        row, client = weekly(northfield, anna), browser(anna)
        for act, day in (("leave_out", TODAY), ("end", TODAY + 2 * WEEK)):
            sent = {"act": act, "day": day.isoformat(), "why": f"{act} <i>rain</i>"}
            assert client.post(self.page_of(northfield, row), sent).status_code == 302
        text = words(client.get(self.page_of(northfield, row)))
        assert "Jun 1, 2026 left out Jun 8, 2026 to come Jun 15, 2026 ended Jun 22, 2026 ended" in text
        assert "Left out on Jun 1, 2026: leave_out <i>rain</i> Ended from Jun 15, 2026 on: end <i>rain</i>" in text
        assert "Leave a day out" not in text

    def test_without_a_reason_nothing_changes(self, browser, anna, northfield, cards):
        row = weekly(northfield, anna)
        page = browser(anna).post(self.page_of(northfield, row), {"act": "end", "day": str(TODAY), "why": ""})
        assert page.status_code == 422
        with as_factory():
            assert not PlannedStep.objects.exists()


class TestAgain:
    def test_what_was_noted_twice_is_offered_and_tapped_once_a_day(self, browser, anna, northfield, cards, calf_barn):
        staff = Actor("farm_staff", anna.id)
        with acting(anna):
            for back in (7, 14):
                work = WorkDone("bedding", TODAY - timedelta(days=back), calf_barn)
                record_work(farm=northfield, work=work, actor=staff, now=NOW)
        client = browser(anna)
        assert "Bedding change, Calf barn last on May 25 Again today" in words(client.get(at("work", northfield)))
        sent = {"kind": "bedding", "facility": str(calf_barn.id)}
        for says in ("Noted: bedding change, Calf barn", "It is noted. It stands once."):
            assert says in words(client.post(at("work_again", northfield), sent, follow=True))
        assert "Again today" not in words(client.get(at("work", northfield)))
        with acting(anna):
            assert works_of(northfield).count() == 3

    def test_another_kind_or_place_is_not_noted(self, browser, anna, northfield, cards):
        for sent in ({"kind": "spraying", "facility": ""}, {"kind": "fans", "facility": str(uuid7())}, {}):
            assert "This wasn't noted" in words(browser(anna).post(at("work_again", northfield), sent, follow=True))


class TestMistakes:
    def test_a_work_is_taken_back_with_why_and_stays_on_record(self, browser, anna, northfield, cards):
        with acting(anna):
            work = record_work(
                farm=northfield, work=WorkDone("fans", TODAY), actor=Actor("farm_staff", anna.id), now=NOW
            )
        client, page = browser(anna), at("work_mistake", northfield, work_id=work.id)
        assert "Fans, Monday, June 1" in words(client.get(page))
        assert client.post(page, {"why": ""}).status_code == 422
        assert client.post(page, {"why": "the wrong <b>farm</b>"}).status_code == 302
        text = words(client.get(at("work", northfield)))
        assert "Nothing noted yet." in text and "Jun 1: fans the wrong <b>farm</b>" in text
        assert "already taken back" in words(client.get(page))
        with as_factory():
            assert WorkTakenBack.objects.count() == Work.objects.count() == 1


def test_releases_of_a_programme_are_one_line(browser, anna, northfield, cards, calf_barn):
    staff = Actor("farm_staff", anna.id)
    row = weekly(northfield, anna, kind="wasps", facility=calf_barn, number=5000)
    with acting(anna):
        for number in range(3):
            day = TODAY + number * WEEK
            now = NOW + number * WEEK
            record_work(farm=northfield, work=as_planned(row, day, day), actor=staff, now=now)
    text = words(browser(anna).get(at("work", northfield)))
    assert f"Jun 1 {chr(0x2013)} Jun 15: parasitic wasps released, Calf barn, 3 times" in text
    assert text.count("Each release") == 1 and "Jun 15 5,000" in text


def test_a_farm_phone_and_a_stranger_come_to_none_of_it(browser, carla, anna, northfield):
    row = weekly(northfield, anna)
    stranger = browser(carla)
    for page in (at("planned_works", northfield), at("planned_work", northfield, planned_work_id=row.id)):
        assert stranger.get(page).status_code == 404
    assert stranger.post(at("planned_work_done", northfield, planned_work_id=row.id), {"day": TODAY}).status_code == 404
