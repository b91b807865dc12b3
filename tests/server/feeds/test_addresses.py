"""The secret addresses: what opens one, what ends it, and that what opens nothing tells nothing."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from farms.credentials import key_hash, new_key
from farms.models import Consent, FeedAddress, GroupMember, Membership
from farms.models.access import FarmRole, FeedKind
from farms.selectors import feeds_of
from farms.services import revoke_feed, withdraw_consent
from tests.alerts.large_group import make_group_of
from tests.cast import NOW, acting, as_factory
from tests.full import FULL
from tests.server.feeds.reading import ask, entries, events, feed_of

pytestmark = pytest.mark.django_db
MANY = 2_500 if FULL else 250
KINDS = FeedKind.values
FILES = {"calendar": "rounds.ics", "matters": "matters.atom"}
SAME_ID = {"x_request_id": "the-same"}


def unknown(kind):
    return f"/feeds/{new_key()}/{FILES[kind]}"


def told(path, **headers):
    """Everything that an answer says, byte for byte."""
    answer = ask(path, **SAME_ID, **headers)
    return answer.status_code, answer.content, dict(answer.headers), answer.cookies


def assert_dead(path, kind="calendar"):
    before = told(unknown(kind))
    assert before[0] == 404
    for language in ("en", "es"):
        assert told(path, accept_language=language) == told(unknown(kind), accept_language=language)


@pytest.mark.parametrize("kind", KINDS)
def test_the_key_has_256_bits_and_only_its_hash_is_stored(northfield, anna, kind):
    key = feed_of(anna, kind).split("/")[2]
    assert len(key) == 43
    (stored,) = FeedAddress.objects.values()
    assert stored["key_hash"] == key_hash(key) and key not in str(stored)


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_answered_stays_with_who_asked(northfield, anna, kind):
    answer = ask(feed_of(anna, kind))
    assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert answer.headers["Cache-Control"] == "private, no-cache"
    assert answer.headers["X-Robots-Tag"] == "noindex"
    assert not answer.cookies


def test_two_peoples_feeds_do_not_mix(northfield, southmead, anna, carla):
    annas, carlas = feed_of(anna), feed_of(carla)
    assert list(events(annas)) == ["Northfield: fly round due"]
    assert list(events(carlas)) == ["Southmead: fly round due"]
    assert list(events(annas)) == ["Northfield: fly round due"]


def test_the_address_says_who_asks_and_a_session_says_nothing(northfield, southmead, anna, carla):
    """Carla, signed in, opens an address that she has from Anna; nor is a stale session ended there."""
    path, browser = feed_of(anna), Client()
    browser.force_login(carla)
    answer = browser.get(path)
    assert b"Northfield" in answer.content and b"Southmead" not in answer.content and not answer.cookies
    browser.cookies["sessionid"] = "gone"
    assert not browser.get(path).cookies and not browser.get(unknown("calendar")).cookies


@pytest.mark.parametrize("kind", KINDS)
def test_a_withdrawn_consent_takes_the_farm_out_at_the_next_request(northfield, anna, dana, kind):
    path = feed_of(dana, kind)
    assert ask(path).status_code == 200
    with acting(anna):
        withdraw_consent(consent=Consent.objects.get(adviser=dana), by=anna, now=NOW)
    assert_dead(path, kind)


def test_of_two_farms_one_stays(northfield, region, anna, dana, group):
    path = feed_of(dana)
    (farm,) = make_group_of(region, 1)
    with as_factory():
        Consent.objects.create(farm=farm, kind="adviser", adviser=dana, given_by=anna, given_at=NOW, entry=0)
    assert set(events(path)) == {"Northfield: fly round due", "Farm 0: fly round due"}
    with acting(anna):
        withdraw_consent(consent=Consent.objects.get(adviser=dana, farm=northfield), by=anna, now=NOW)
    assert set(events(path)) == {"Farm 0: fly round due"}


def end_membership(user):
    Membership.objects.filter(user=user).update(ended_at=NOW)


def leave_group(user):
    GroupMember.objects.filter(user=user).update(ended_at=NOW)


def switch_off(user):
    user.is_active = False
    user.save(update_fields=["is_active"])


@pytest.mark.parametrize(
    ("name", "end"),
    [("ben", end_membership), ("dana", leave_group), ("anna", switch_off)],
    ids=["membership ended", "left the group", "switched off"],
)
def test_it_ends_with_what_it_rests_on(northfield, request, name, end):
    user = request.getfixturevalue(name)
    path = feed_of(user)
    assert ask(path).status_code == 200
    with as_factory():
        end(user)
    assert_dead(path)


def test_switched_off_it_is_dead_and_a_second_one_ends_the_first(northfield, anna):
    first = feed_of(anna)
    second, other = feed_of(anna), feed_of(anna, "matters")
    assert_dead(first)
    assert ask(second).status_code == ask(other).status_code == 200
    with acting(anna):
        revoke_feed(feed=feeds_of(anna).filter(kind="calendar").first(), by=anna, now=timezone.now())
    assert_dead(second)
    assert ask(other).status_code == 200


def test_a_key_opens_its_own_feed_only(northfield, anna):
    calendar = feed_of(anna)
    assert_dead(calendar.replace("rounds.ics", "matters.atom"), "matters")
    assert ask(calendar.replace("rounds.ics", "rounds.atom")).status_code == 404


def test_who_sees_no_farm_finds_nothing_until_one_lets_them_in(northfield, erik):
    path = feed_of(erik)
    assert_dead(path)
    with as_factory():
        Membership.objects.create(farm=northfield, user=erik, role=FarmRole.RECORDER, began_at=NOW)
    assert list(events(path)) == ["Northfield: fly round due"]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("method", ["post", "put", "patch", "delete", "options"])
def test_it_is_only_read(northfield, anna, kind, method):
    for path in (feed_of(anna, kind), unknown(kind)):
        client = Client(enforce_csrf_checks=True)
        answer = getattr(client, method)(path)
        assert (answer.status_code, answer.headers["Allow"]) == (405, "GET, HEAD")
        assert answer.headers["Referrer-Policy"] == "no-referrer" and not answer.cookies


def test_head_says_what_get_would(northfield, anna):
    path = feed_of(anna)
    got, head = Client().get(path), Client().head(path)
    assert (head.status_code, head.content, head.headers["ETag"]) == (200, b"", got.headers["ETag"])


def test_reading_changes_nothing_but_the_day_of_the_last_use(northfield, anna):
    path = feed_of(anna)
    (before,) = FeedAddress.objects.values()
    for _ in range(2):
        ask(path)
    (after,) = FeedAddress.objects.values()
    assert after == before | {"last_used_on": timezone.now().date()}


def test_guesses_from_one_place_are_counted_and_who_has_a_key_is_not_held_up(northfield, anna):
    path, dead = feed_of(anna), feed_of(anna, "matters")
    feed_of(anna, "matters")
    assert {ask(unknown("calendar")).status_code for _ in range(30)} == {404}
    for tried in (unknown("calendar"), dead):
        answer = ask(tried)
        assert (answer.status_code, answer.headers["Retry-After"]) == (429, "900")
        assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert ask(path).status_code == 200


def test_of_many_farms_as_few_questions_are_asked_as_of_thirty(region, anna, dana):
    farms = make_group_of(region, MANY)
    calendar, matters = feed_of(dana), feed_of(dana, "matters")

    def questions() -> list[int]:
        """Of both feeds, and of making another one, which is noted in each farm's log."""
        return [
            queries(ask, calendar),
            queries(ask, matters),
            queries(feed_of, dana),
            queries(feed_of, dana, "matters"),
        ]

    let_in(dana, anna, farms[:30])
    ask(calendar)
    ask(matters)  # the first use of a day is noted
    few = questions()
    let_in(dana, anna, farms[30:])
    calendar, matters = feed_of(dana), feed_of(dana, "matters")
    assert len(events(calendar)) == MANY and entries(matters) == []
    assert questions() == few and max(few[:2]) <= 15 and max(few) <= 25


def let_in(adviser, owner, farms):
    with as_factory():
        Consent.objects.bulk_create(
            Consent(farm=farm, kind="adviser", adviser=adviser, given_by=owner, given_at=NOW, entry=0) for farm in farms
        )


def queries(call, *arguments):
    with CaptureQueriesContext(connection) as found:
        call(*arguments)
    return len(found)
