"""Results of the weekly check, alerts and action levels."""

from datetime import date, timedelta
from uuid import uuid4

import pytest

from alerts.models import Alert, AlertEvent, Assessment
from farms.models import Facility, Farm, Group, User
from tests.cast import NOW, as_factory
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
WEEK = date(2026, 5, 25)


def judged(farm: Farm, week: date, **values: object) -> Assessment:
    usual = {"method": "card", "judged_at": NOW, "result": "over", "mean": 118.0, "code_version": "test"}
    with as_factory():
        return Assessment.objects.create(farm=farm, week=week, **{**usual, **values})


@pytest.fixture
def alert(northfield: Farm, calf_barn: Facility) -> Alert:
    values = {"week": WEEK, "at": NOW, "actor_kind": "service", "entry": 1}
    with as_factory():
        alert = Alert.objects.create(
            farm=northfield, facility_id=calf_barn.id, method="card", rule="over", opened_week=WEEK, opened_at=NOW
        )
        AlertEvent.objects.create(farm=northfield, alert_id=alert.id, kind="opened", evidence={"mean": 118}, **values)
    return alert


def test_results_are_the_latest_revisions_oldest_week_first(reader: Sender, northfield: Farm, calf_barn: Facility):
    judged(northfield, WEEK)
    judged(northfield, WEEK, revision=2, mean=121.0)
    judged(northfield, WEEK, facility_id=calf_barn.id)
    judged(northfield, WEEK - timedelta(days=7), result="none", mean=None)
    judged(northfield, WEEK - timedelta(days=7 * 60))
    path = f"/api/v1/farms/{northfield.id}/assessments"
    rows = reader.get(path).json()["results"]
    assert [(row["week"], row["revision"], row["mean"]) for row in rows] == [
        ("2026-05-18", 1, None), ("2026-05-25", 2, 121.0), ("2026-05-25", 1, 118.0),
    ]  # fmt: skip
    assert len(reader.get(f"{path}?whole_farm=true").json()["results"]) == 2
    assert len(reader.get(f"{path}?since=2026-05-27").json()["results"]) == 2
    assert reader.get(f"{path}?method=leg").json()["results"] == []
    assert len(reader.get(f"{path}?since=2025-01-01").json()["results"]) == 4


def test_an_alert_with_its_history_is_marked_seen_once(program: Sender, northfield: Farm, alert: Alert):
    path = f"/api/v1/farms/{northfield.id}/alerts"
    assert [row["id"] for row in program.get(path).json()["results"]] == [str(alert.id)]
    assert program.get(f"{path}?open=false").json()["results"] == []
    first, second = (program.post(f"{path}/{alert.id}/seen") for _ in range(2))
    assert (first.status_code, first.content) == (200, second.content)
    events = program.get(f"{path}/{alert.id}").json()["events"]
    assert [(event["kind"], event["actor_kind"]) for event in events] == [("opened", "service"), ("seen", "program")]
    assert events[0]["evidence"] == {"mean": 118}


def test_a_closed_alert_is_seen_no_more(program: Sender, northfield: Farm, alert: Alert):
    with as_factory():
        Alert.objects.filter(id=alert.id).update(closed_week=WEEK, closed_at=NOW, closed_because="back_below")
        AlertEvent.objects.create(
            farm=northfield, alert_id=alert.id, kind="closed", week=WEEK, at=NOW, actor_kind="service", entry=2
        )
    assert_problem(program.post(f"/api/v1/farms/{northfield.id}/alerts/{alert.id}/seen"), 409, "alert_closed")


def test_an_alert_that_is_not_there(program: Sender, northfield: Farm):
    assert_problem(program.post(f"/api/v1/farms/{northfield.id}/alerts/{uuid4()}/seen"), 404, "not_found")


def test_a_farm_sets_a_level_of_its_own(dana: User, northfield: Farm, calf_barn: Facility):
    adviser, path = session_of(dana), f"/api/v1/farms/{northfield.id}/action-levels"
    level = {"method": "card", "value": 80, "valid_from": "2026-06-08", "reason": "Neighbours are close."}
    made = adviser.post(path, {**level, "facility_id": str(calf_barn.id)})
    assert (made.status_code, made.json()["unit"]) == (201, "specks a card")
    assert adviser.get(path).json()["results"] == [made.json()]
    applied = adviser.get(f"{path}/applied?on=2026-06-08").json()["results"]
    cards = {row["facility_id"]: (row["value"], row["level_of"]) for row in applied if row["method"] == "card"}
    assert cards == {None: (100.0, "default"), str(calf_barn.id): (80.0, "facility")}
    today = adviser.get(f"{path}/applied").json()["results"]
    assert [(row["method"], row["value"], row["comparison"]) for row in today] == [
        ("card", 100.0, "more"), ("trap", 250.0, "more"), ("leg", 10.0, "at_least"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("values", "pointer", "code"),
    [
        ({"value": 0}, "/value", "level_not_above_zero"),
        ({"value": "80"}, "/value", "invalid"),
        ({"valid_from": "2026-05-01"}, "/valid_from", "level_from_the_past"),
        ({"reason": ""}, "/reason", "invalid"),
        ({"method": "tape"}, "/method", "invalid"),
    ],
)
def test_a_level_that_can_not_be(anna: User, northfield: Farm, values: dict[str, object], pointer: str, code: str):
    level = {"method": "card", "value": 80, "valid_from": "2026-06-08", "reason": "Neighbours are close.", **values}
    problem = assert_problem(session_of(anna).post(f"/api/v1/farms/{northfield.id}/action-levels", level), 422, code)
    assert problem["errors"][0]["pointer"] == pointer


def test_the_groups_level_is_its_coordinators_to_set(
    erik: User, dana: User, carla: User, group: Group, northfield: Farm, program: Sender
):
    path = f"/api/v1/groups/{group.id}/action-levels"
    level = {"method": "trap", "value": 200, "valid_from": "2026-06-08", "reason": "Decided at the spring meeting."}
    assert session_of(erik).post(path, level).status_code == 201
    assert_problem(session_of(dana).post(path, level), 403, "forbidden")
    assert len(session_of(dana).get(path).json()["results"]) == 1
    assert_problem(session_of(carla).get(path), 404, "not_found")
    assert_problem(program.get(path), 404, "not_found")
