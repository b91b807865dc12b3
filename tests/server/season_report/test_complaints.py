"""Complaints in the report: only those that were ticked, only for a neighbor's complaint, with the counts of then."""

from typing import Any

import pytest

from monitoring.selectors import complaints_of
from monitoring.services import ComplaintTyped, record_complaint
from server.season_report.blocks import Report, Table
from server.season_report.outlines import OUTLINES
from server.season_report.paper import report_pdf
from server.web.complaints import counts_about, counts_then
from tests.cast import acting
from tests.server.api.senders import session_of
from tests.server.api.test_problems import assert_problem
from tests.server.api.test_season_report import noted, path
from tests.server.evidence import scene
from tests.server.season_report.test_paper import asked, day, text_of

pytestmark = pytest.mark.django_db
OTHER = "another one, not ticked"


@pytest.fixture
def farm(records: Any, anna: Any) -> Any:
    """One complaint of May 23 with its answer, one of April."""
    northfield = records[0]
    typed = ComplaintTyped(scene.noon(scene.monday(1)).date(), "letter", "inspector", OTHER)
    actor = scene.Actor(scene.ActorKind.FARM_STAFF, anna.id)
    with acting(anna):
        record_complaint(farm=northfield, typed=typed, actor=actor, now=scene.noon(scene.monday(1)))
    return northfield


@pytest.fixture
def ticked(farm: Any, anna: Any) -> Any:
    with acting(anna):
        return complaints_of(farm)[0].known


def keys(report: Report) -> list[str]:
    return [section.key for section in report.sections]


def test_none_is_told_unless_it_is_ticked(farm, made):
    for outline in OUTLINES:
        report = made(farm, outline=outline, names=True)
        assert "complaints" not in keys(report)
        assert "porch" not in str(report) and OTHER not in str(report)


def test_the_one_ticked_is_told_as_the_api_tells_it(farm, made, anna, ticked):
    api = session_of(anna)
    answer = api.get(path(farm, "pdf", outline="neighbor", complaints=str(ticked), language="en"))
    assert answer.status_code == 200, answer.content
    told = text_of(answer.content)
    row = next(row for row in asked(api, farm, "complaints") if row["id"] == str(ticked))
    assert f"{day(row['heard_on'])} · A neighbor, a call What was said {row['said']}" in told
    (answered,) = row["answers"]
    assert f"{day(answered['answered_on'])} {answered['answered']} A letter or mail Farm staff" in told
    assert OTHER not in told
    # Who said it is the owner's to give, and who of the farm answered is nobody's.
    assert (
        row["sender"] not in told and answered["by"] not in told.partition("Complaints")[2].partition("The methods")[0]
    )
    assert row["sender"] in str(made(farm, outline="neighbor", complaints=(ticked,), names=True))
    assert noted(farm)[0].endswith(" complaints 1")


def test_the_counts_beside_it_are_those_of_its_own_page(farm, made, anna, ticked):
    report = made(farm, outline="neighbor", complaints=(ticked,))
    (section,) = [each for each in report.sections if each.key == "complaints"]
    (table,) = [each for each in section.blocks if isinstance(each, Table) and each.name == "What was counted then"]
    with acting(anna):
        found = counts_then(farm, complaints_of(farm)[0].heard_on)
    assert found and [row[0] for row in table.rows] == [each.week for each in found]
    for row, each in zip(table.rows, found, strict=True):
        assert each.mean is not None
        assert float(str(row[2]).rstrip("+")) == pytest.approx(each.mean, rel=0.01) and row[3] == each.devices


def test_the_counts_of_several_days_are_those_of_each(farm, anna, django_assert_num_queries):
    with acting(anna):
        days = [row.heard_on for row in complaints_of(farm)]
        each = {day: counts_then(farm, day) for day in days}
        assert len(days) == 2 and len(set(map(len, each.values()))) >= 1
        with django_assert_num_queries(2):
            assert counts_about(farm, days) == each


@pytest.mark.parametrize("outline", sorted(set(OUTLINES) - {"neighbor"}))
def test_in_any_other_outline_it_is_refused(farm, anna, ticked, outline):
    answer = session_of(anna).get(path(farm, outline=outline, complaints=str(ticked)))
    assert_problem(answer, 422, "report_refused")
    (error,) = answer.json()["errors"]
    assert error["pointer"] == "/complaints" and "neighbor's complaint and into no other" in error["detail"]
    assert noted(farm) == []


def test_what_is_no_complaint_of_the_farm_is_refused(farm, anna, ticked):
    unknown = f"{ticked},0197d0c2-5c00-7000-8000-0000000000ff"
    answer = session_of(anna).get(path(farm, outline="neighbor", complaints=unknown))
    assert_problem(answer, 422, "report_refused")
    assert "no such complaint on this farm" in answer.json()["errors"][0]["detail"]
    assert session_of(anna).get(path(farm, outline="neighbor", complaints="all")).status_code == 422


def test_it_is_set_on_paper_in_both_languages(farm, made, ticked):
    for language in ("en", "es"):
        content = report_pdf(made(farm, outline="neighbor", complaints=(ticked,), language=language), "letter")
        assert "flies on the porch" in text_of(content)
