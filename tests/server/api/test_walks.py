"""Fly walks and findings for programs and people: noted once, followed, corrected; words for people alone."""

import pytest

from farms.ids import uuid7
from farms.models import Facility, Farm, User
from monitoring.models import Finding
from monitoring.selectors import findings_of
from monitoring.services import FindingPhotoSent, add_finding_photo
from tests.alerts.scene import alerts, check, count_week, monday
from tests.cast import NOW, acting, as_factory
from tests.monitoring.pictures import jpeg
from tests.monitoring.sending import STAFF
from tests.monitoring.walking import found, only_finding, walk
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db


def body(*findings: dict, **more) -> dict:
    usual = {"place": "waterers", "moisture": "wet", "larvae": "some", "to_do": "Mend the float"}
    found = [{"id": str(uuid7()), **usual, **each} for each in findings]
    return {"id": str(uuid7()), "walked_on": "2026-06-01", "findings": found, **more}


def path(farm: Farm, what: str) -> str:
    return f"/api/v1/farms/{farm.id}/{what}"


def test_a_walk_is_noted_once_and_its_findings_are_listed(program: Sender, northfield: Farm, calf_barn: Facility):
    sent = body(
        {"due_on": "2026-06-03", "facility_id": str(calf_barn.id)},
        {"place": "gutters", "nothing": True, "larvae": "", "to_do": "", "moisture": ""},
        facility_id=str(calf_barn.id),
    )
    made, again = program.post(path(northfield, "walks"), sent), program.post(path(northfield, "walks"), sent)
    assert (made.status_code, again.json()) == (201, made.json()), made.content
    assert (made.json()["places"], made.json()["actor_kind"]) == (2, "program")
    (listed,) = program.get(path(northfield, "walks")).json()["results"]
    assert listed == made.json()
    rows = {row["place"]: row for row in program.get(path(northfield, "findings")).json()["results"]}
    assert (rows["waterers"]["state"], rows["waterers"]["due"]) == ("to_do", "2026-06-03")
    assert (rows["gutters"]["nothing"], rows["gutters"]["larvae"], rows["gutters"]["due"]) == (True, "", None)
    asked = program.get(path(northfield, f"findings?open=true&walk_id={sent['id']}&since=2026-06-01"))
    assert [row["place"] for row in asked.json()["results"]] == ["waterers"]
    assert [len(program.get(path(northfield, f"findings?{query}")).json()["results"]) for query in (
        "open=false", "state=nothing", "state=gone", f"facility_id={calf_barn.id}"
    )] == [1, 1, 0, 1]  # fmt: skip


def test_words_are_read_by_people_and_by_no_key(program: Sender, northfield: Farm, ben: User, dana: User):
    program.post(path(northfield, "walks"), body({"by_whom": "Luis", "note": "<script>alert(1)</script>"}))
    assert program.get(path(northfield, "findings")).json()["results"][0]["said"] is None
    for who in (ben, dana):
        people = session_of(who)
        (row,) = people.get(path(northfield, "findings")).json()["results"]
        assert row["said"] == {
            "place_words": "", "to_do": "Mend the float", "by_whom": "Luis", "note": "<script>alert(1)</script>"
        }  # fmt: skip
        one = path(northfield, f"findings/{row['id']}")
        people.post(f"{one}/steps", {"kind": "done", "on": "2026-06-01", "note": "Luis did"})
        assert people.get(one).json()["steps"][-1]["note"] == "Luis did"
        told = program.get(one).json()
        assert (told["said"], told["steps"][0]["note"], told["versions"][0]["said"]) == (None, None, None)


def test_it_is_followed_and_a_step_is_mended(program: Sender, northfield: Farm):
    program.post(path(northfield, "walks"), body({}))
    finding = program.get(path(northfield, "findings")).json()["results"][0]
    one = path(northfield, f"findings/{finding['id']}")
    step = program.post(f"{one}/steps", {"kind": "done", "on": "2026-06-01"})
    assert (step.status_code, step.json()["due_on"], step.json()["note"]) == (201, "2026-06-08", None)
    mend = {"kind": "withdrawn", "on": "2026-06-01", "replaces_id": step.json()["id"], "reason": "the other place"}
    assert_problem(program.post(f"{one}/steps", mend | {"reason": ""}), 422, "finding_refused")
    assert program.post(f"{one}/steps", mend).status_code == 201
    assert program.get(one).json()["state"] == "to_do"
    assert_problem(program.post(f"{one}/steps", mend), 409, "already_mended")
    assert_problem(program.post(f"{one}/steps", mend | {"replaces_id": str(uuid7())}), 422, "finding_refused")
    program.post(f"{one}/steps", {"kind": "gone", "on": "2026-06-01"})
    assert_problem(program.post(f"{one}/steps", {"kind": "done", "on": "2026-06-01"}), 409, "nothing_to_do")
    assert_problem(program.post(f"{one}/steps", {"kind": "done", "on": "2026-06-02"}), 422, "finding_refused")


def test_a_finding_is_corrected_under_the_id_that_stays(program: Sender, northfield: Farm, anna: User):
    program.post(path(northfield, "walks"), body({}))
    finding = program.get(path(northfield, "findings")).json()["results"][0]
    one = path(northfield, f"findings/{finding['id']}")
    corrected = {"place": "feed_bunks", "larvae": "many", "reason": "at the wrong place", "seen_on": "2026-05-31"}
    answer = program.post(f"{one}/corrections", corrected)
    assert answer.status_code == 201, answer.content
    assert (answer.json()["id"], answer.json()["place"], answer.json()["corrected"]) == (
        finding["id"], "feed_bunks", True
    )  # fmt: skip
    told = session_of(anna).get(one).json()
    assert [(each["place"], each["reason"]) for each in told["versions"]] == [
        ("waterers", ""), ("feed_bunks", "at the wrong place")
    ]  # fmt: skip
    gone = program.post(f"{one}/corrections", {"place": "other", "withdrawn": True, "reason": "noted twice"})
    assert gone.status_code == 201 and program.get(path(northfield, "findings")).json()["results"] == []
    assert_problem(program.get(one), 404, "not_found")


def test_bad_input_is_named_and_nothing_is_stored(program: Sender, northfield: Farm, southmead: Farm):
    with as_factory():
        barn = Facility.objects.get(farm=southmead)
    for wrong, pointer in (
        (body({}, walked_on="2026-06-02"), "/walked_on"),
        (body(), "/findings"),
        (body({"place": "roof"}), "/findings/0/place"),
        (body({}, {"larvae": 3}), "/findings/1/larvae"),
        (body({"x": 0.5}), "/findings/0/x"),
        (body({"due_on": "2026-05-01"}), "/findings/0/due_on"),
        (body({"facility_id": str(barn.id)}), "/findings/0/facility_id"),
        (body({"station_id": str(uuid7())}), "/findings/0/station_id"),
        (body({"colour": "brown"}), "/findings/0/colour"),
    ):
        answer = program.post(path(northfield, "walks"), wrong)
        assert answer.status_code == 422
        assert [each["pointer"] for each in answer.json()["errors"]] == [pointer], answer.content
    assert_problem(program.post(path(northfield, "walks"), body({}, alert_id=str(uuid7()))), 404, "not_found")
    with as_factory():
        assert not Finding.objects.exists()


def test_another_walk_under_a_known_id_is_refused(program: Sender, northfield: Farm):
    sent = body({})
    program.post(path(northfield, "walks"), sent)
    assert_problem(program.post(path(northfield, "walks"), sent | {"walked_on": "2026-05-31"}), 409, "walk_differs")


def test_a_walk_begins_with_an_open_matter_of_the_farm(program: Sender, northfield: Farm, group, cards):
    for number in (5, 6):
        count_week(cards, monday(number), [200] * 5)
        check(group, monday(number))
    alert = alerts(northfield, still_open=True)[0]
    made = program.post(path(northfield, "walks"), body({}, alert_id=str(alert.id)))
    assert made.json()["alert_id"] == str(alert.id)


def test_photos_are_listed_and_read_and_strangers_find_nothing(
    reader: Sender, northfield: Farm, anna: User, carla: User
):
    with acting(anna):
        walk(northfield, found())
        sent = FindingPhotoSent(uuid7(), jpeg())
        made = add_finding_photo(finding=only_finding(northfield), sent=sent, actor=STAFF, now=NOW)
        finding = findings_of(northfield).get()
    (row,) = reader.get(path(northfield, f"finding-photos?finding_id={finding.known}")).json()["results"]
    assert (row["id"], row["width"], row["erased"]) == (str(made.id), 64, False)
    picture = path(northfield, f"finding-photos/{made.id}/picture")
    answer = reader.get(picture)
    assert answer.content.startswith(b"\xff\xd8\xff") and answer.headers["X-Content-Type-Options"] == "nosniff"
    for what in ("walks", "findings", f"findings/{finding.known}", "finding-photos"):
        assert_problem(session_of(carla).get(path(northfield, what)), 404, "not_found")
    assert_problem(session_of(carla).get(picture), 404, "not_found")
