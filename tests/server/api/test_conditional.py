"""Tags of answers: nothing is sent again that is known (RFC 9110), nothing changed that was not seen (RFC 6585)."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from typing import Any

import httpx
import pytest
from django.utils import timezone

from farms.models import Farm, Season, User
from tests.cast import as_factory
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
RACERS = 100


def season_of(sender: Sender, farm: Farm) -> str:
    (season,) = sender.get(f"/api/v1/farms/{farm.id}/seasons").json()["results"]
    return f"/api/v1/farms/{farm.id}/seasons/{season['id']}"


def test_what_is_known_is_not_sent_again(reader: Sender, northfield: Farm):
    path = f"/api/v1/farms/{northfield.id}/stations"
    first = reader.get(path)
    tag = first.headers["ETag"]
    assert tag.startswith('"') and tag.endswith('"')
    again = reader.get(path, headers={"If-None-Match": f'"other", {tag}'})
    assert (again.status_code, again.content, again.headers["ETag"]) == (304, b"", tag)
    assert again.headers["Cache-Control"] == "private, no-cache"
    assert reader.get(path, headers={"If-None-Match": '"other"'}).content == first.content
    assert reader.head(path).headers["ETag"] == tag


def test_the_tag_changes_with_the_answer_and_only_with_it(reader: Sender, anna: User, northfield: Farm):
    path = f"/api/v1/farms/{northfield.id}/facilities"
    before = reader.get(path).headers["ETag"]
    assert reader.get(path).headers["ETag"] == before
    session_of(anna).post(path, {"name": "Parlor", "kind": "parlor"})
    assert reader.get(path, headers={"If-None-Match": before}).status_code == 200


def test_an_answer_has_one_form_only(reader: Sender, northfield: Farm):
    """DRF would indent it where the Accept header says so, and the tag would not be the record's any more."""
    path = f"/api/v1/farms/{northfield.id}"
    plain, indented = reader.get(path), reader.get(path, headers={"Accept": "application/json; indent=4"})
    assert plain.content == indented.content


def test_a_change_without_what_was_seen_is_refused(anna: User, northfield: Farm):
    sender = session_of(anna)
    problem = assert_problem(
        sender.patch(season_of(sender, northfield), {"closes_on": "2026-10-31"}), 428, "match_missing"
    )
    assert "If-Match" in problem["detail"]
    with as_factory():
        assert Season.objects.get(farm=northfield).closes_on is None


def test_a_change_of_what_was_seen_is_made_and_gives_the_next_tag(anna: User, northfield: Farm):
    sender = session_of(anna)
    path = season_of(sender, northfield)
    seen = sender.get(path).headers["ETag"]
    changed = sender.patch(path, {"closes_on": "2026-10-31"}, headers={"If-Match": seen})
    assert (changed.status_code, changed.json()["closes_on"]) == (200, "2026-10-31")
    assert changed.headers["ETag"] == sender.get(path).headers["ETag"] != seen
    stale = sender.patch(path, {"closes_on": "2026-11-30"}, headers={"If-Match": seen})
    assert_problem(stale, 412, "stale")
    assert sender.patch(path, {"closes_on": "2026-11-30"}, headers={"If-Match": "*"}).status_code == 200


def test_a_weak_tag_is_no_tag_of_a_state(anna: User, northfield: Farm):
    sender = session_of(anna)
    path = season_of(sender, northfield)
    seen = sender.get(path).headers["ETag"]
    assert_problem(sender.patch(path, {"closes_on": "2026-10-31"}, headers={"If-Match": f"W/{seen}"}), 412, "stale")


def test_the_owner_renames_the_farm(anna: User, northfield: Farm):
    sender, path = session_of(anna), f"/api/v1/farms/{northfield.id}"
    seen = sender.get(path).headers["ETag"]
    named = sender.patch(path, {"name": "Northfield Dairy", "language": "es"}, headers={"If-Match": seen})
    assert (named.json()["name"], named.json()["language"]) == ("Northfield Dairy", "es")
    blank = sender.patch(path, {"name": " "}, headers={"If-Match": named.headers["ETag"]})
    assert blank.status_code == 422


def test_a_name_is_written_otherwise(anna: User, northfield: Farm):
    sender, path = session_of(anna), f"/api/v1/farms/{northfield.id}/people"
    made = sender.post(path, {"name": "Rosalind Quist", "initials": "RQ"})
    address = f"{path}/{made.json()['id']}"
    assert sender.get(address).headers["ETag"] == made.headers["ETag"]
    changed = sender.patch(address, {"initials": "RoQ"}, headers={"If-Match": made.headers["ETag"]})
    assert changed.json() == {**made.json(), "initials": "RoQ"}


@pytest.mark.django_db(transaction=True, databases="__all__")
def test_of_a_hundred_who_change_the_same_state_one_does(anna: User, northfield: Farm, live_server: Any):
    """Must show 4 of the issue."""
    now = timezone.now()
    owner = session_of(anna)
    path = season_of(owner, northfield)
    owner.get("/api/v1/docs?script=")
    session, csrf = (owner.cookies[name].value for name in ("sessionid", "csrftoken"))
    headers = {"Cookie": f"sessionid={session}; csrftoken={csrf}", "X-CSRFToken": csrf}
    with httpx.Client(base_url=live_server.url, headers=headers, limits=httpx.Limits(max_connections=20)) as client:
        seen = client.get(path).headers["ETag"]

        def race(number: int) -> int:
            body = {"closes_on": str(now.date() + timedelta(days=number))}
            return client.patch(path, json=body, headers={"If-Match": seen}, timeout=60).status_code

        with ThreadPoolExecutor(20) as racers:
            answers = sorted(racers.map(race, range(RACERS)))
    print(f"races: {answers.count(200)} of {RACERS} changed it, {answers.count(412)} were told that it had changed")
    assert answers == [200] + [412] * (RACERS - 1)


def test_a_reading_token_may_see_tags_and_change_nothing(reader: Sender, northfield: Farm, anna: User):
    path = season_of(session_of(anna), northfield)
    seen = reader.get(path).headers["ETag"]
    assert_problem(reader.patch(path, {"closes_on": "2026-10-31"}, headers={"If-Match": seen}), 403, "forbidden")
