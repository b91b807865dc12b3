"""A region's bulletin and past season: one page each as a PDF, for whoever may open the region's page."""

import io
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from alerts.models import RegionBulletinChoice, RoundsTold
from farms import services
from tests.cast import acting, as_factory, make_user
from tests.regions import NUMBERS, ODD, WEEK, contribution, odbl, report, season
from tests.server.web.pages import words

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")


def pages(answer):
    assert answer.headers["Content-Type"] == "application/pdf"
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(answer.content)).pages]


@pytest.fixture
def guest(group, erik):
    now = timezone.now()
    with acting(erik):
        made = services.invite_guest(
            group=group, email="greta@example.org", name="Greta", ends_at=now + timedelta(days=9), now=now
        )
    return made.user


def told_rounds(group, region, farms, came, weeks_ago=0):
    with as_factory():
        RoundsTold.objects.create(
            group=group, region=region, of="region", week=WEEK - timedelta(weeks=weeks_ago), farms=farms, came=came,
            overdue=0,
        )  # fmt: skip


class TestTheBulletin:
    def test_one_page_in_words_with_a_table_how_to_read_it_and_the_licence(self, browser, anna, northfield, region):
        for method in ("card", "trap", "leg"):
            season(region, 15, method)
        for paper in ("a4", "letter"):
            (page,) = pages(browser(anna).get(reverse("bulletin", args=[region.id]), {"paper": paper}))
            for told in (
                "Week of May 25", "Cards: Above their own normal: 1.3 times it.", "What is rising where", "May 11",
                "not told", "Raw counts of different dairies should not be compared", "No farm is named here",
                "the label, local rules and people with the licence for it decide", "Creative Commons",
            ):  # fmt: skip
                assert told in page

    def test_its_licence_is_the_one_that_the_group_chose(self, browser, anna, erik, group, northfield, region):
        season(region)
        odbl(group, erik)
        assert "Open Database License" in words(browser(anna).get(reverse("region", args=[region.id])))
        for name, ids in (("bulletin", [region.id]), ("past_season_pdf", [region.id, 2026])):
            (page,) = pages(browser(anna).get(reverse(name, args=ids)))
            assert "Open Database License" in page

    def test_in_spanish_where_that_is_asked_for(self, browser, anna, northfield, region):
        season(region)
        (page,) = pages(browser(anna).get(reverse("bulletin", args=[region.id]), {"language": "es"}))
        assert "Por encima de su propio nivel normal" in page and "own normal" not in page

    def test_of_a_week_that_is_asked_for(self, browser, anna, northfield, region):
        season(region)
        (page,) = pages(browser(anna).get(reverse("bulletin", args=[region.id]), {"week": "2026-05-20"}))
        assert "Week of May 18" in page and "May 25" not in page

    def test_where_nothing_was_published_it_says_so_on_the_page(self, browser, anna, northfield, region):
        answer = browser(anna).get(reverse("bulletin", args=[region.id]), follow=True)
        assert "There is no bulletin for this week" in words(answer)

    def test_no_name_and_no_value_of_a_farm_is_in_it(self, browser, anna, northfield, region):
        season(region)
        contribution(northfield, 2)
        for name, ids in (("bulletin", [region.id]), ("past_season_pdf", [region.id, 2026])):
            (page,) = pages(browser(anna).get(reverse(name, args=ids)))
            for each in (northfield.name, "Holding", f"{ODD:.0f}", "7,919", "7.9"):
                assert each not in page


class TestItsMail:
    def test_whoever_may_open_the_page_may_ask_for_it_and_stop_it(
        self, browser, anna, ben, dana, erik, guest, northfield, region
    ):
        at = reverse("bulletin_mail", args=[region.id])
        for user in (anna, ben, dana, erik, guest):
            client = browser(user)
            asked = client.post(at, {"how_often": "every_week"}, follow=True)
            assert client.get(at).status_code == 405
            stopped = client.post(at, {"how_often": "none"}, follow=True)
            assert asked.status_code == stopped.status_code == 200, user
        assert "Noted. No bulletin comes by mail any more." in words(stopped)
        with as_factory():
            assert RegionBulletinChoice.objects.count() == 10

    def test_it_stands_among_ones_mails(self, browser, anna, northfield, region):
        client = browser(anna)
        assert "Bulletin of" not in words(client.get(reverse("your_mails")))
        client.post(reverse("bulletin_mail", args=[region.id]), {"how_often": "when_needed"})
        told = words(client.get(reverse("your_mails")))
        assert "Bulletin of Lower Valley It comes only in a week in which something rises" in told

    def test_another_word_is_refused_with_what_to_choose(self, browser, anna, northfield, region):
        at = reverse("bulletin_mail", args=[region.id])
        told = words(browser(anna).post(at, {"how_often": "hourly"}, follow=True))
        assert "Choose every_week, when_needed or none." in told


class TestThePastSeason:
    def test_from_stored_reports_when_it_was_over_and_highest_and_who_took_part(
        self, browser, anna, group, northfield, region
    ):
        season(region)
        told_rounds(group, region, 8, 5)
        told_rounds(group, region, 8, 6, 1)
        page = words(browser(anna).get(reverse("past_season", args=[region.id, 2026])))
        assert "About 7 in 10 of the rounds that were due came." in page
        assert "Told in numbers: 6 of 8 weeks. Above their own normal: in 3 of 6 weeks." in page
        assert "Highest in the week of May 25: 1.3 times their own normal." in page
        assert "More than in other years: in 3 of 6 weeks." in page
        assert "there is no prize for low counts" in page
        (paper,) = pages(browser(anna).get(reverse("past_season_pdf", args=[region.id, 2026])))
        assert "Lower Valley: the season of 2026" in paper and "About 7 in 10 of the rounds" in paper

    def test_all_rounds_are_never_told_as_all(self, browser, anna, group, northfield, region):
        season(region)
        told_rounds(group, region, 5, 5)
        page = words(browser(anna).get(reverse("past_season", args=[region.id, 2026])))
        assert "Nine in ten of the rounds that were due came, or more." in page

    def test_without_a_report_and_without_rounds_it_says_so(self, browser, anna, northfield, region):
        page = words(browser(anna).get(reverse("past_season", args=[region.id, 2024])))
        assert "No report of that year was published." in page and "How many rounds came: not told." in page
        pdf = browser(anna).get(reverse("past_season_pdf", args=[region.id, 2024]), follow=True)
        assert "There is nothing to print" in words(pdf)

    def test_a_year_that_is_none_is_not_there(self, browser, anna, northfield, region):
        assert browser(anna).get(reverse("past_season", args=[region.id, 99999])).status_code == 404


def test_strangers_find_none_of_them_and_the_groups_people_and_guests_do(
    browser, anna, ben, dana, erik, guest, northfield, region
):
    report(region, **NUMBERS)
    frida = make_user("Frida")
    places = [("bulletin", [region.id]), ("past_season", [region.id, 2026]), ("past_season_pdf", [region.id, 2026])]
    for name, ids in places:
        at = reverse(name, args=ids)
        assert browser(frida).get(at).status_code == 404
        assert browser().get(at).status_code == 302
        assert {browser(user).get(at).status_code for user in (anna, ben, dana, erik, guest)} == {200}
    at = reverse("bulletin_mail", args=[region.id])
    assert browser(frida).post(at, {"how_often": "none"}).status_code == 404
    assert browser().post(at, {}).status_code == 302
