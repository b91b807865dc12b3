"""The mails that were written, by the API."""

import base64
from typing import Any

import pytest

from alerts.models import CoordinatorReport, Digest, MondayList
from farms.models import Farm, Group, User
from tests.alerts.test_outbox import make_digest
from tests.cast import NOW, as_factory
from tests.server.api.senders import session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
LISTS = "/api/v1/me/monday-lists"
REPORTS = "/api/v1/me/coordinator-reports"
BRIEF = {
    "id", "recipient_id", "occasion", "language", "subject", "state", "reason", "needs_a_look", "queued_at", "sent_at",
}  # fmt: skip


@pytest.fixture
def digest(northfield: Farm, anna: User) -> Digest:
    return make_digest(northfield, anna, picture=b"png", state="refused", reason="stopped")


@pytest.fixture
def monday_list(group: Group, northfield: Farm, dana: User) -> MondayList:
    with as_factory():
        return MondayList.objects.create(
            group=group, recipient=dana, occasion="2026-W22", language="en", subject="1 farm to call", text="",
            html="<p>Northfield</p>", queued_at=NOW, next_try_at=NOW, farm_ids=[northfield.id],
        )  # fmt: skip


def test_a_farms_mails_are_listed_briefly_and_read_whole(anna: User, dana: User, northfield: Farm, digest: Digest):
    address = f"/api/v1/farms/{northfield.id}/mails"
    for user in (anna, dana):
        (brief,) = session_of(user).get(address).json()["results"]
        assert set(brief) == BRIEF and (brief["state"], brief["reason"]) == ("refused", "stopped")
        whole = session_of(user).get(f"{address}/{digest.id}").json()
        assert set(whole) == BRIEF | {"text", "html", "picture", "picture_text"}
        assert (whole["html"], base64.b64decode(whole["picture"])) == ("<p>Cards: 118.</p>", b"png")


@pytest.mark.parametrize("who", ["program", "reader", "phone"])
def test_no_token_reads_a_mail(request: pytest.FixtureRequest, northfield: Farm, digest: Digest, who: str):
    token: Any = request.getfixturevalue(who)
    for address in (f"/api/v1/farms/{northfield.id}/mails", f"/api/v1/farms/{northfield.id}/mails/{digest.id}", LISTS):
        assert_problem(token.get(address), 403, "forbidden")


def test_strangers_find_none_and_a_recorder_may_not(
    ben: User, carla: User, northfield: Farm, southmead: Farm, digest: Digest
):
    address = f"/api/v1/farms/{northfield.id}/mails"
    for end in ("", f"/{digest.id}"):
        assert_problem(session_of(carla).get(address + end), 404, "not_found")
        assert_problem(session_of(ben).get(address + end), 403, "forbidden")
    assert_problem(session_of(carla).get(f"/api/v1/farms/{southmead.id}/mails/{digest.id}"), 404, "not_found")


def test_an_advisers_own_lists(anna: User, dana: User, erik: User, group: Group, monday_list: MondayList):
    adviser = session_of(dana)
    (brief,) = adviser.get(LISTS).json()["results"]
    assert set(brief) == BRIEF | {"group_id"} and brief["group_id"] == str(group.id)
    assert adviser.get(f"{LISTS}/{monday_list.id}").json()["html"] == "<p>Northfield</p>"
    for other in (anna, erik):
        assert session_of(other).get(LISTS).json()["results"] == []
        assert_problem(session_of(other).get(f"{LISTS}/{monday_list.id}"), 404, "not_found")


def test_a_coordinators_own_reports(anna: User, dana: User, erik: User, group: Group):
    with as_factory():
        report = CoordinatorReport.objects.create(
            group=group, recipient=erik, occasion="2026-W22", language="en", subject="5 of 6 rounds came", text="",
            html="<p>6 farms in season</p>", queued_at=NOW, next_try_at=NOW,
        )  # fmt: skip
    (brief,) = session_of(erik).get(REPORTS).json()["results"]
    assert set(brief) == BRIEF | {"group_id"} and brief["group_id"] == str(group.id)
    assert session_of(erik).get(f"{REPORTS}/{report.id}").json()["html"] == "<p>6 farms in season</p>"
    for other in (anna, dana):
        assert session_of(other).get(REPORTS).json()["results"] == []
        assert_problem(session_of(other).get(f"{REPORTS}/{report.id}"), 404, "not_found")
