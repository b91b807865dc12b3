"""Feed addresses: one a person and kind, told once."""

from datetime import timedelta

import pytest

from farms.credentials import key_hash
from farms.models import FeedAddress, LogEvent
from farms.selectors import feed_by_key, feeds_of
from farms.services import FeedKindUnknown, FeedMadeMeanwhile, make_feed, note_feed_use, revoke_feed
from tests.cast import NOW, acting, as_factory

pytestmark = pytest.mark.django_db


def test_a_feed_is_found_by_its_key_and_kind_until_it_ends(northfield, anna):
    with acting(anna):
        feed, key = make_feed(user=anna, kind="calendar", now=NOW)
        assert bytes(FeedAddress.objects.get().key_hash) == key_hash(key)
        assert feed_by_key(key, "calendar") == feed
        assert feed_by_key(key, "matters") is None and feed_by_key(f"{key}x", "calendar") is None
        revoke_feed(feed=feed, by=anna, now=NOW + timedelta(days=1))
        assert feed_by_key(key, "calendar") is None
        ended = revoke_feed(feed=feed, by=anna, now=NOW + timedelta(days=2))
    assert ended.revoked_at == NOW + timedelta(days=1)


def test_an_inactive_persons_feed_is_not_found(northfield, anna):
    with acting(anna):
        _feed, key = make_feed(user=anna, kind="calendar", now=NOW)
    anna.is_active = False
    anna.save(update_fields=["is_active"])
    assert feed_by_key(key, "calendar") is None


def test_an_unknown_kind_is_refused(northfield, anna):
    with acting(anna), pytest.raises(FeedKindUnknown):
        make_feed(user=anna, kind="everything", now=NOW)


def test_of_two_made_at_the_same_moment_the_second_is_refused(northfield, anna, monkeypatch):
    with acting(anna):
        make_feed(user=anna, kind="calendar", now=NOW)
        # As the second sees it, who looked before the first was stored.
        monkeypatch.setattr("farms.services.feed.feeds_of", lambda _user: FeedAddress.objects.none())
        with pytest.raises(FeedMadeMeanwhile):
            make_feed(user=anna, kind="calendar", now=NOW)
    assert feeds_of(anna).count() == 1


def test_its_making_and_its_end_are_noted_where_it_shows_something(northfield, southmead, anna, carla):
    with acting(anna):
        feed, _key = make_feed(user=anna, kind="matters", now=NOW)
        revoke_feed(feed=feed, by=anna, now=NOW)
    with as_factory():
        noted = LogEvent.objects.filter(kind__startswith="feed").order_by("id")
        noted = noted.values_list("farm_id", "kind", "about", "at")
        assert list(noted) == [(northfield.id, kind, "matters", NOW) for kind in ("feed_made", "feed_ended")]


def test_the_last_use_is_written_once_a_day(northfield, anna, django_assert_num_queries):
    with acting(anna):
        feed, _key = make_feed(user=anna, kind="matters", now=NOW)
    note_feed_use(feed=feed, today=NOW.date())
    feed.refresh_from_db()
    assert feed.last_used_on == NOW.date()
    with django_assert_num_queries(0):
        note_feed_use(feed=feed, today=NOW.date())
