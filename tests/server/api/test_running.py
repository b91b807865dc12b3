"""How the service runs for a group, as programs of its coordinator read it."""

from datetime import timedelta

import pytest

from alerts.checks.failures import set_aside
from farms.models import Farm, Group, User
from tests.alerts.scene import check_time, monday
from tests.alerts.test_running import note, owned, run_monday  # noqa: F401  owned is a fixture
from tests.cast import as_role, make_user
from tests.server.api.senders import session_of, token_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")
MONDAY = check_time(monday(0))


@pytest.fixture
def judged(group: Group, owned: Farm, southmead: Farm, standing_clock):  # noqa: F811
    run_monday(group, MONDAY)
    with as_role("worker"):
        set_aside(southmead, monday(0), ValueError("Southmead: 61943"), MONDAY)
    standing_clock.write_text(MONDAY.isoformat())
    return note(MONDAY, group)


def address(group: Group) -> str:
    return f"/api/v1/groups/{group.id}/running"


def test_a_coordinator_reads_what_was_counted(erik: User, group: Group, judged):
    answer = session_of(erik).get(address(group))
    assert answer.status_code == 200
    told = answer.json()
    assert (told["group_id"], told["off"], told["week"], told["due_week"]) == (
        str(group.id),
        [],
        "2026-04-06",
        "2026-04-13",
    )
    for name in ("to_judge", "judged", "failed", "owed", "written", "waiting", "sent", "set_aside", "imports"):
        assert told[name] == getattr(judged, name), name
    assert (told["to_judge"], told["set_aside"]) == (2, 1)
    (run,) = told["runs"]
    assert (run["week"], run["state"], run["farms"], run["error"]) == ("2026-04-06", "done", 2, "")
    assert 0 < run["seconds"] < 60
    assert "Southmead" not in answer.text and "61943" not in answer.text


def test_what_is_off_is_a_word_for_programs_and_a_sentence_for_people(erik: User, group: Group, judged, standing_clock):
    standing_clock.write_text((judged.due_at + timedelta(hours=3)).isoformat())
    bell, late = [each for each in session_of(erik).get(address(group)).json()["off"] if each["kind"] != "mail_waits"]
    assert (bell["kind"], late["kind"]) == ("no_bell", "check_late")
    assert (
        late["detail"].replace("\N{NO-BREAK SPACE}", " ")
        == "The check of the week of April 13 has been due for 3 hours and has not run."
    )
    assert late["since"].startswith("2026-04-20T10:00:00")


def test_before_the_first_bell_all_is_nought(erik: User, group: Group):
    told = session_of(erik).get(address(group)).json()
    assert (told["rung_at"], told["week"], told["waiting"], told["runs"]) == (None, None, 0, [])
    assert [each["kind"] for each in told["off"]] == ["no_bell"]


def test_some_fields_only(erik: User, group: Group, judged):
    assert session_of(erik).get(f"{address(group)}?fields=off,week").json() == {"off": [], "week": "2026-04-06"}


def test_the_office_reads_it_too(group: Group, judged):
    assert session_of(make_user("Olive", is_staff=True)).get(address(group)).status_code == 200


def test_carla_and_others_do_not(anna: User, dana: User, carla: User, group: Group, northfield: Farm, judged):
    for user in (anna, dana, carla):
        assert_problem(session_of(user).get(address(group)), 403, "forbidden")
    assert_problem(session_of(make_user("Stella")).get(address(group)), 404, "not_found")
    assert_problem(token_of(northfield, anna, "read").get(address(group)), 404, "not_found")
