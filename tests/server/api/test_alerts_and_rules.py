"""What is done about an alert by the API, a level tried on the last season, and a group's rules."""

from datetime import timedelta

import pytest

from alerts.models import Alert
from farms.models import Facility, Farm, Group, User
from monitoring.models import Station
from tests.alerts.scene import alerts, check, count_week, monday
from tests.cast import NOW
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db


@pytest.fixture
def alert(group: Group, northfield: Farm, calf_barn: Facility, cards: list[Station]) -> Alert:
    """Opened in the week before the cast's moment."""
    count_week(cards, monday(7), [150] * 5)
    check(group, monday(7))
    return alerts(northfield, rule="over")[0]


def path_of(alert: Alert, *more: str) -> str:
    return "/".join([f"/api/v1/farms/{alert.farm_id}/alerts/{alert.id}", *more])


def test_an_alert_is_taken_on_put_off_and_worked_on(program: Sender, alert: Alert, northfield: Farm):
    noted = program.post(path_of(alert, "acknowledge"), {"note": "Clearing the pens."})
    assert (noted.status_code, noted.json()["kind"]) == (201, "acknowledged")
    later = program.post(path_of(alert, "later"), {"until": "2026-06-15"})
    assert (later.status_code, later.json()["evidence"]) == (201, {"until": "2026-06-15"})
    day = (NOW - timedelta(days=1)).date().isoformat()
    work = program.post(f"/api/v1/farms/{northfield.id}/works", {"kind": "clean_out", "done_on": day}).json()
    assert program.post(path_of(alert, "works"), {"work_id": work["id"]}).status_code == 201
    told = program.get(path_of(alert)).json()
    assert [event["kind"] for event in told["events"]] == ["opened", "acknowledged", "snoozed", "work_linked"]
    assert [event["note"] for event in told["events"]] == ["", "Clearing the pens.", "", ""]
    assert (told["work_ids"], told["later_until"]) == ([work["id"]], "2026-06-15")
    assert told["seen_at"] is not None
    assert (told["not_counted_since"], told["escalated_at"], told["reopened_week"]) == (None, None, None)


def test_what_can_not_be_done_is_refused_with_what_to_do(program: Sender, reader: Sender, alert: Alert):
    assert_problem(program.post(path_of(alert, "later"), {"until": "2027-06-15"}), 422, "put_off_too_far")
    missing = "0197d0c2-5c00-7000-8000-0000000000ff"
    assert program.post(path_of(alert, "works"), {"work_id": missing}).status_code == 404
    assert reader.post(path_of(alert, "acknowledge"), {"note": "x"}).status_code == 403


def test_a_level_is_tried_on_the_last_season(reader: Sender, alert: Alert, northfield: Farm):
    address = f"/api/v1/farms/{northfield.id}/action-levels/preview"
    told = reader.get(f"{address}?method=card&value=200").json()
    assert (told["alerts"], told["weeks_counted"]) == ([], 1)
    assert told["alerts_now"] == [{"opened_week": "2026-05-25", "closed_week": None, "highest": 150.0}]
    assert_problem(reader.get(f"{address}?method=trap&value=200"), 404, "nothing_to_preview")


def test_the_groups_own_level_is_taken_back_by_its_coordinator_alone(
    group: Group, northfield: Farm, erik: User, anna: User, carla: User
):
    address = f"/api/v1/groups/{group.id}/action-levels"
    gone = {"method": "card", "valid_from": "2026-06-08", "reason": "back to the trade's"}
    assert_problem(session_of(erik).post(f"{address}/taken-back", gone), 409, "nothing_to_take_back")
    session_of(erik).post(address, {"method": "card", "value": 80, "valid_from": "2026-06-01", "reason": "invented"})
    assert session_of(anna).post(f"{address}/taken-back", gone).status_code == 403
    assert session_of(carla).post(f"{address}/taken-back", gone).status_code == 404
    made = session_of(erik).post(f"{address}/taken-back", gone)
    assert (made.status_code, made.json()["taken_back"], made.json()["value"]) == (201, True, 80)
    applied = session_of(anna).get(f"/api/v1/farms/{northfield.id}/action-levels/applied?on=2026-06-08").json()
    assert {row["level_of"] for row in applied["results"]} == {"default"}


class TestAGroupsRules:
    NEW = {
        "rule": "overdue", "is_on": True, "numbers": {"days": 14}, "valid_from": "2026-06-08",
        "reason": "Every ten days here.",
    }  # fmt: skip

    def test_are_set_by_its_coordinator(self, group: Group, northfield: Farm, erik: User):
        sender, address = session_of(erik), f"/api/v1/groups/{group.id}/rules"
        made = sender.post(address, self.NEW)
        assert (made.status_code, made.json()["numbers"]) == (201, {"days": 14.0})
        (kept,) = sender.get(address).json()["results"]
        assert kept["reason"] == "Every ten days here."
        applied = {row["rule"]: row for row in sender.get(f"{address}/applied?on=2026-06-08").json()["results"]}
        assert applied["overdue"]["numbers"][0] | {"meaning": ""} == {
            "name": "days", "value": 14.0, "usual": 10, "least": 8, "most": 30, "meaning": "",
        }  # fmt: skip
        assert (applied["over"]["is_on"], applied["over"]["valid_from"]) == (True, None)

    def test_are_read_by_its_people_and_set_by_nobody_else(
        self, group: Group, northfield: Farm, anna: User, dana: User, carla: User
    ):
        address = f"/api/v1/groups/{group.id}/rules"
        for user in (anna, dana):
            assert session_of(user).get(address).status_code == 200
            assert session_of(user).post(address, self.NEW).status_code == 403
        assert session_of(carla).get(address).status_code == 404
        assert session_of(carla).post(address, self.NEW).status_code == 404

    def test_a_number_outside_is_refused(self, group: Group, erik: User):
        sent = {**self.NEW, "numbers": {"days": 3}}
        assert_problem(session_of(erik).post(f"/api/v1/groups/{group.id}/rules", sent), 422, "rule_number_outside")
