"""The page and the route that take a season's works together."""

import pytest
from django.urls import reverse

from monitoring.models import Work
from tests.alerts.scene import monday
from tests.cast import NOW, as_factory
from tests.server.web.pages import at, words
from tests.server.web.test_work import cleaned  # noqa: F401 - a fixture

pytestmark = pytest.mark.django_db


def test_each_kind_has_its_works_and_what_they_did(browser, anna, cleaned):  # noqa: F811
    text = words(browser(anna).get(at("work_review", cleaned)))
    assert "Did it work?" in text and "kind by kind" in text
    assert "Clean-out Only one could be told, and one is no figure for all of them." in text
    assert "April 27, the calf barn Since then about half as many as the heifer barn would lead to expect" in text
    assert "How long an effect lasts is not known from one before and after." in text
    assert "the label, local rules and licensed people decide" in text


def test_the_season_asked_for_is_shown(browser, anna, northfield):
    season = northfield.seasons.get() if hasattr(northfield, "seasons") else None
    client = browser(anna)
    assert client.get(at("work_review", northfield)).status_code == 200
    assert client.get(at("work_review", northfield), {"season": "nonsense"}).status_code == 404
    if season is not None:
        assert client.get(at("work_review", northfield), {"season": str(season.id)}).status_code == 200


def test_strangers_are_told_nothing_is_there(browser, carla, northfield):
    assert browser(carla).get(at("work_review", northfield)).status_code == 404


def test_the_page_of_work_says_what_would_tell_and_leads_there(browser, anna, cleaned):  # noqa: F811
    text = words(browser(anna).get(at("work", cleaned)))
    assert "if counting goes on." in text or "would tell a fall by half" in text or "hardly tell a fall by half" in text
    assert "Did it work? The season, kind by kind" in text


def test_the_api_says_the_same(browser, anna, cleaned, calf_barn):  # noqa: F811
    with as_factory():
        Work.objects.create(
            farm=cleaned, facility_id=calf_barn.id, kind="bedding", done_on=monday(3), actor_kind="farm_staff",
            recorded_at=NOW, entry=0,
        )  # fmt: skip
    answer = browser(anna).get(f"/api/v1/farms/{cleaned.id}/work-review")
    assert answer.status_code == 200, answer.content
    kinds = {kind["kind"]: kind for kind in answer.json()["kinds"]}
    assert set(kinds) == {"clean_out", "bedding"}
    assert kinds["bedding"]["works"][0]["reason"] == "together"
    assert kinds["bedding"]["effect"] is None and kinds["bedding"]["told"] == 0
    works = browser(anna).get(reverse("farm-works-list", args=[cleaned.id])).json()["results"]
    together = [row for row in works if row["together_with"]]
    assert len(together) == 2 and {row["effect"] for row in together} == {None}
    assert together[0]["joint_effect"] == pytest.approx(-50, abs=3)
