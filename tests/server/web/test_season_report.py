"""The page on which a report is made."""

import re

import pytest
from django.urls import reverse

from tests.server.api.test_season_report import heard, noted

__all__ = ["heard"]

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


def test_it_offers_complaints_unticked_and_tells_those_that_are_ticked(browser, dana, northfield, heard):
    client, wanted = browser(dana), WANTED | {"language": "en"}
    page = client.get(address(northfield)).content.decode()
    (tick,) = re.findall(r'<input[^>]*name="complaints"[^>]*>', page)
    assert f'value="{heard}"' in tick and "checked" not in tick and "a neighbor: flies on the porch" in page
    assert "flies on the porch" not in client.post(address(northfield), wanted).content.decode()
    ticked = wanted | {"complaints": [heard]}
    assert "flies on the porch" in client.post(address(northfield), ticked).content.decode()
    refused = client.post(address(northfield), ticked | {"outline": "audit"})
    assert refused.status_code == 422 and "into no other" in refused.content.decode()


def test_without_complaints_none_is_offered(browser, anna, northfield):
    assert 'name="complaints"' not in browser(anna).get(address(northfield)).content.decode()
