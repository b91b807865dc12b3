"""The season's report by the API: who may, what is noted in the log, and what is refused."""

import pytest

from farms.models import Farm, LogEvent, User
from monitoring.services import ComplaintTyped, record_complaint
from tests.cast import NOW, acting, as_factory
from tests.monitoring.sending import STAFF
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db


def path(farm: Farm, ending: str = "html", **query: str) -> str:
    asked = "&".join(f"{name}={value}" for name, value in query.items())
    return f"/api/v1/farms/{farm.id}/report.{ending}?{asked}"


def noted(farm: Farm) -> list[str]:
    with as_factory():
        return list(LogEvent.objects.filter(farm_id=farm.id, kind="export").values_list("about", flat=True))


@pytest.fixture
def heard(northfield: Farm, anna: User) -> str:
    """The id of a complaint of Northfield."""
    with acting(anna):
        typed = ComplaintTyped(NOW.date(), "call", "neighbour", "flies on the porch")
        return str(record_complaint(farm=northfield, typed=typed, actor=STAFF, now=NOW).id)


@pytest.mark.parametrize(("ending", "media_type"), [("pdf", "application/pdf"), ("html", "text/html")])
def test_an_owner_and_an_adviser_take_it_and_the_log_says_so(anna, dana, northfield, ending, media_type):
    for user in (anna, dana):
        answer = session_of(user).get(path(northfield, ending, outline="audit", since="2026-04-06", until="2026-05-31"))
        assert answer.status_code == 200, answer.content
        assert answer.headers["Content-Type"].startswith(media_type)
        assert f'filename="northfield-audit-2026-04-06-2026-05-31.{ending}"' in answer.headers["Content-Disposition"]
    assert noted(northfield) == [f"report.{ending} audit 2026-04-06 2026-05-31"] * 2


def test_who_only_counts_a_key_and_a_stranger_do_not(
    ben: User, carla: User, program: Sender, northfield: Farm
):  # fmt: skip
    assert_problem(session_of(ben).get(path(northfield)), 403, "forbidden")
    assert_problem(program.get(path(northfield)), 403, "forbidden")
    assert_problem(session_of(carla).get(path(northfield)), 404, "not_found")
    assert noted(northfield) == []


def test_only_an_owner_puts_names_in(anna: User, dana: User, northfield: Farm):
    assert_problem(session_of(dana).get(path(northfield, names="true")), 403, "names_are_the_owners")
    assert session_of(anna).get(path(northfield, names="true")).status_code == 200
    assert noted(northfield)[0].endswith(" names")


def test_no_key_and_nobody_who_only_counts_takes_complaints(
    ben: User, program: Sender, northfield: Farm, heard: str
):  # fmt: skip
    for who in (program, session_of(ben)):
        assert_problem(who.get(path(northfield, outline="neighbor", complaints=heard)), 403, "forbidden")
    assert noted(northfield) == []


def test_an_adviser_takes_the_complaint_that_they_tick_and_another_farm_s_is_none(
    carla: User, dana: User, northfield: Farm, southmead: Farm, heard: str
):  # fmt: skip
    days = {"since": "2026-04-06", "until": "2026-06-01"}
    answer = session_of(dana).get(path(northfield, outline="neighbor", complaints=heard, **days))
    assert answer.status_code == 200 and "flies on the porch" in answer.content.decode()
    assert noted(northfield) == ["report.html neighbor 2026-04-06 2026-06-01 complaints 1"]
    elsewhere = session_of(carla).get(path(southmead, outline="neighbor", complaints=heard))
    assert_problem(elsewhere, 422, "report_refused")


@pytest.mark.parametrize(
    ("query", "pointer"),
    [
        ({"since": "2026-05-02", "until": "2026-05-01"}, "/until"),
        ({"since": "2006-05-02", "until": "2026-05-01"}, "/since"),
        ({"until": "2027-05-01"}, "/until"),
    ],
)
def test_days_that_make_no_report_are_named(anna: User, northfield: Farm, query: dict[str, str], pointer: str):
    answer = session_of(anna).get(path(northfield, **query))
    assert_problem(answer, 422, "report_refused")
    assert answer.json()["errors"][0]["pointer"] == pointer
    assert noted(northfield) == []


def test_an_outline_that_is_none_is_refused(anna: User, northfield: Farm):
    assert session_of(anna).get(path(northfield, outline="press")).status_code == 422
