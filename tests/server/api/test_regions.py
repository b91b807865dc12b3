"""Regions and their reports, which only the region's role of the database can read."""

import csv
from datetime import date

import pytest
import yaml

from farms.models import Farm, Region, User
from monitoring.models import RegionReport
from server.api.documentation import DOCUMENT
from tests.cast import NOW, as_role, make_user
from tests.regions import NUMBERS, ODD, USUAL, contribution, odbl
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


@COMMITS
def test_a_report_has_all_that_is_published_and_names_its_open_licence(northfield: Farm, anna: User, region: Region):
    publish(region, date(2026, 5, 25), level=100.0, **NUMBERS, **USUAL)
    publish(region, date(2026, 5, 25), part="calf_barn", **NUMBERS)
    answer = session_of(anna).get(f"/api/v1/regions/{region.id}/reports")
    (row,) = answer.json()["results"]
    assert row.items() >= {**NUMBERS, **USUAL, "part": ""}.items()
    assert answer.json()["license"]["spdx"] == "CC-BY-4.0"
    assert answer.headers["Link"] == '<https://creativecommons.org/licenses/by/4.0/>; rel="license"'
    both = session_of(anna).get(f"/api/v1/regions/{region.id}/reports?by_housing=true").json()["results"]
    assert [row["part"] for row in both] == ["", "calf_barn"]
    assert session_of(anna).get("/api/v1/regions").json()["results"][0]["license"]["spdx"] == "CC-BY-4.0"


@COMMITS
def test_the_same_as_csv_with_the_columns_that_the_document_lists(northfield: Farm, anna: User, region: Region):
    publish(region, date(2026, 5, 18), disclosure="nothing")
    publish(region, date(2026, 5, 25), level=100.0, **NUMBERS)
    path = f"/api/v1/regions/{region.id}/reports.csv"
    answer = session_of(anna).get(path)
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8; header=present"
    assert 'rel="license"' in answer.headers["Link"]
    rows = list(csv.DictReader(answer.content.decode().splitlines()))
    assert [(row["week"], row["normal"], row["mean"]) for row in rows] == [
        ("2026-05-25", "1.3", "84.0"), ("2026-05-18", "", ""),
    ]  # fmt: skip
    document = yaml.safe_load(DOCUMENT.read_text())["paths"]["/api/v1/regions/{region_id}/reports.csv"]["get"]
    assert ", ".join(rows[0]) in document["description"]
    assert_problem(session_of(make_user("Frida")).get(path), 404, "not_found")


@COMMITS
def test_a_farms_own_thirds_and_no_other_farms(northfield: Farm, southmead: Farm, anna: User, dana: User, carla: User):
    publish(northfield.region, date(2026, 5, 25), **NUMBERS)
    contribution(northfield, 2)
    contribution(northfield, None, date(2026, 5, 18))
    contribution(northfield, 1, date(2026, 5, 11))  # its week's report is still held back
    contribution(southmead, 3)
    path = f"/api/v1/farms/{northfield.id}/region-places"
    for sender in (session_of(anna), session_of(dana), token_of(northfield, anna, "read")):
        answer = sender.get(path)
        assert answer.json()["results"] == [{"week": "2026-05-25", "method": "card", "third": 2}]
        assert "7919" not in answer.content.decode()
    assert_problem(session_of(carla).get(path), 404, "not_found")
    assert_problem(phone_of(northfield, anna).get(path), 403, "forbidden")


@COMMITS
def test_no_name_and_no_value_of_a_farm_is_in_what_a_region_answers(northfield: Farm, anna: User, region: Region):
    contribution(northfield, 2)
    publish(region, date(2026, 5, 25), level=100.0, **NUMBERS)
    for ending in ("reports", "reports.csv"):
        told = session_of(anna).get(f"/api/v1/regions/{region.id}/{ending}").content.decode()
        for each in (northfield.name, str(northfield.id), str(northfield.holding_id), f"{ODD:.0f}"):
            assert each not in told


@COMMITS
def test_the_licence_is_the_one_that_the_group_chose(northfield: Farm, anna: User, erik: User, region: Region):
    odbl(region.group, erik)
    publish(region, date(2026, 5, 25), level=100.0, **NUMBERS)
    sender = session_of(anna)
    assert sender.get("/api/v1/regions").json()["results"][0]["license"]["spdx"] == "ODbL-1.0"
    for ending in ("reports", "reports.csv"):
        answer = sender.get(f"/api/v1/regions/{region.id}/{ending}")
        assert answer.headers["Link"] == '<https://opendatacommons.org/licenses/odbl/1-0/>; rel="license"'
