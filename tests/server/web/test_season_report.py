"""The page on which a report is made."""

import pytest
from django.urls import reverse

from tests.server.api.test_season_report import noted

pytestmark = pytest.mark.django_db
WANTED = {
    "outline": "neighbor", "since": "2026-04-06", "last_day": "2026-06-01", "language": "es", "paper": "letter",
    "form": "html",
}  # fmt: skip


def address(farm) -> str:
    return reverse("season_report", args=[farm.id])


def test_the_page_offers_the_season_and_makes_the_file(browser, anna, northfield):
    page = browser(anna).get(address(northfield)).content.decode()
    assert 'value="2026-04-06"' in page and 'name="names"' in page
    answer = browser(anna).post(address(northfield), WANTED)
    assert answer.status_code == 200 and "attachment" in answer.headers["Content-Disposition"]
    assert "Conteos y control de moscas en el registro" in answer.content.decode()
    assert noted(northfield) == ["report.html neighbor 2026-04-06 2026-06-01"]


def test_an_adviser_is_offered_no_names_and_gets_none(browser, dana, northfield):
    assert 'name="names"' not in browser(dana).get(address(northfield)).content.decode()
    assert browser(dana).post(address(northfield), {**WANTED, "names": "on"}).status_code == 200
    assert noted(northfield) == ["report.html neighbor 2026-04-06 2026-06-01"]


def test_days_the_wrong_way_round_are_told_beside_their_field(browser, anna, northfield):
    answer = browser(anna).post(address(northfield), {**WANTED, "last_day": "2026-04-01"})
    assert answer.status_code == 422
    assert "The last day comes before the first one" in answer.content.decode()


def test_whoever_only_counts_may_not_and_a_stranger_finds_nothing(browser, ben, carla, northfield):
    assert browser(ben).get(address(northfield)).status_code == 403
    assert browser(carla).get(address(northfield)).status_code == 404
