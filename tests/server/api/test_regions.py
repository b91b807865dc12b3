"""Regions and their reports, which only the region's role of the database can read."""

from datetime import date

import pytest

from farms.models import Farm, Region, User
from monitoring.models import RegionReport
from tests.cast import NOW, as_role, make_user
from tests.server.api.senders import Sender, phone_of, session_of, token_of
from tests.server.api.test_problems import assert_problem

COMMITS = pytest.mark.django_db(transaction=True, databases="__all__")


def publish(region: Region, week: date, **values: object) -> None:
    usual = {"method": "card", "cutoff_at": NOW, "published_at": NOW, "cohort_hash": bytes(32), "rule_version": "1"}
    with as_role("cohort"):
        RegionReport.objects.create(region=region, week=week, code_version="test", **{**usual, **values})


@COMMITS
def test_reports_come_newest_first_to_the_groups_people_and_programs(
    northfield: Farm, anna: User, erik: User, region: Region, elsewhere: Region
):
    publish(region, date(2026, 5, 18), disclosure="word", word="high", contributors="5 to 9", level=100.0)
    publish(region, date(2026, 5, 25), disclosure="numbers", mean=84.5, share_over=0.25, contributors="12")
    publish(region, date(2026, 5, 25), method="trap", disclosure="nothing")
    path = f"/api/v1/regions/{region.id}/reports"
    for sender in (session_of(anna), session_of(erik), token_of(northfield, anna, "read")):
        rows = sender.get(path).json()["results"]
        told = [(row["week"], row["method"], row["mean"], row["word"]) for row in rows]
        assert told == [
            ("2026-05-25", "card", 84.5, ""), ("2026-05-25", "trap", None, ""), ("2026-05-18", "card", None, "high"),
        ]  # fmt: skip
    assert len(session_of(anna).get(f"{path}?method=card&since=2026-05-25").json()["results"]) == 1
    assert session_of(anna).get(f"/api/v1/regions/{elsewhere.id}/reports").json()["results"] == []


@pytest.mark.django_db
def test_regions_are_those_of_ones_own_group(northfield: Farm, anna: User, erik: User):
    for sender in (session_of(anna), session_of(erik), token_of(northfield, anna, "read")):
        assert [row["name"] for row in sender.get("/api/v1/regions").json()["results"]] == ["Lower Valley"]


@pytest.mark.django_db
def test_a_stranger_and_a_phone_see_no_region(northfield: Farm, anna: User, region: Region):
    for sender in (session_of(make_user("Frida")), phone_of(northfield, anna)):
        assert sender.get("/api/v1/regions").json()["results"] == []
        assert_problem(sender.get(f"/api/v1/regions/{region.id}/reports"), 404, "not_found")
    assert_problem(Sender().get("/api/v1/regions"), 401, "not_signed_in")
