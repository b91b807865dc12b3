"""Counting in Valkey: the sliding window, the tries, and that neither can be raced."""

from concurrent.futures import ThreadPoolExecutor

import pytest
import redis
from django.core.cache import cache
from django.test import RequestFactory

from server.limits import (
    Count,
    Limit,
    Tries,
    address_of,
    put_mark,
    rest,
    rests_for,
    take,
    take_back,
    try_once,
)

TEN_A_MINUTE = Limit("ten", 10, 60)
START = 1_800_000_000.0  # the beginning of a minute
NOWHERE = "unix:///nonexistent/valkey.sock"


@pytest.fixture(autouse=True)
def nothing_counted():
    cache.clear()


def asked(now: float, subject: str = "anna", limit: Limit = TEN_A_MINUTE) -> int:
    """0 where a request may go on, else how long it must wait."""
    full = take([Count(limit, subject)], now=now).full
    return 0 if full is None else full.wait


def test_ten_go_on_and_the_eleventh_waits_for_the_next_window():
    assert [asked(START + 30) for _ in range(10)] == [0] * 10
    assert asked(START + 30) == 30
    assert asked(START + 30, "ben") == 0


def test_what_is_refused_is_not_counted_and_the_wait_that_was_told_is_enough():
    for _ in range(10):
        asked(START + 30)
    for second in range(40):
        asked(START + 30 + second / 2)
    wait = asked(START + 59)
    assert asked(START + 59 + wait + 1) == 0


def test_the_last_window_counts_by_the_share_of_it_that_is_left():
    for _ in range(10):
        asked(START + 59)
    # A quarter of the next window: three quarters of ten still count, so two more go on and the third doesn't.
    assert [asked(START + 75) for _ in range(3)] == [0, 0, 0]
    assert asked(START + 75) > 0
    assert asked(START + 120 + 59) == 0


@pytest.mark.parametrize("second", [0, 1, 15, 29.5, 44, 59])
def test_whoever_waits_as_told_goes_on(second):
    for _ in range(10):
        asked(START + second)
    moment = START + second
    for _ in range(3):
        wait = asked(moment)
        if not wait:
            break
        moment += wait + 0.001
    assert wait == 0


def test_no_minute_lets_through_more_than_the_limit_and_a_rounding():
    """A steady stream of thirty a minute against ten: what goes on in any sixty seconds, measured."""
    gone = [START + step * 2 for step in range(300) if asked(START + step * 2) == 0]
    most = max(sum(moment <= other < moment + 60 for other in gone) for moment in gone)
    assert most <= 11 and len(gone) >= 0.9 * 100


def test_all_limits_are_counted_or_none():
    narrow, wide = Limit("narrow", 1, 60), Limit("wide", 100, 60)
    both = [Count(narrow, "a"), Count(wide, "office")]
    assert take(both, now=START).full is None
    for _ in range(50):
        assert take(both, now=START).full.limit == narrow
    assert all(take([Count(wide, "office")], now=START).full is None for _ in range(99))
    assert take([Count(wide, "office")], now=START).full.limit == wide


def test_twenty_at_once_get_ten():
    with ThreadPoolExecutor(20) as pool:
        answers = list(pool.map(lambda _number: asked(START), range(100)))
    assert answers.count(0) == 10


def test_who_is_marked_passes_a_limit_that_is_only_looked_at():
    for _ in range(10):
        asked(START, "office")
    looked = [Count(TEN_A_MINUTE, "office", only_looked_at=True), Count(Limit("own", 100, 60), "key")]
    assert take(looked, now=START, mark="key").full.limit == TEN_A_MINUTE
    put_mark("key", seconds=60)
    taken = take(looked, now=START, mark="key")
    assert taken.full is None and taken.marked


FIVE = Tries("five", 5, 3600, 600)


def test_tries_end_and_the_rest_ends_too():
    assert [try_once(FIVE, "anna") for _ in range(7)] == [1, 2, 3, 4, 5, 0, 0]
    assert 3590 <= rests_for(FIVE, "anna") <= 3600 and rests_for(FIVE, "ben") == 0
    rest(FIVE, "anna")
    assert 590 <= rests_for(FIVE, "anna") <= 600
    cache.clear()  # as Valkey does when the time has come
    assert rests_for(FIVE, "anna") == 0 and try_once(FIVE, "anna") == 1


def test_a_rest_ends_by_itself():
    short = Tries("short", 1, 3600, 1)
    assert [try_once(short, "anna"), try_once(short, "anna")] == [1, 0]
    rest(short, "anna")
    import time

    time.sleep(1.1)
    assert try_once(short, "anna") == 1


def test_a_right_try_is_taken_back():
    for _ in range(20):
        assert try_once(FIVE, "anna") == 1
        take_back(FIVE, "anna")


def test_fifty_guesses_at_once_get_five():
    with ThreadPoolExecutor(20) as pool:
        numbers = sorted(pool.map(lambda _number: try_once(FIVE, "anna"), range(50)))
    assert numbers == [0] * 45 + [1, 2, 3, 4, 5]


def test_no_subject_stands_in_valkey(settings):
    try_once(FIVE, "anna@example.org")
    asked(START, "anna@example.org")
    client = redis.Redis.from_url(settings.CACHES["default"]["LOCATION"])
    keys = b" ".join(client.keys("*"))
    assert keys.count(b"limit:") == 2 and b"anna" not in keys
    assert all(client.ttl(key) > 0 for key in client.keys("limit:*"))


def test_without_valkey_nothing_goes_on_uncounted(settings):
    settings.CACHES = {"default": {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": NOWHERE}}
    for act in (lambda: asked(START), lambda: try_once(FIVE, "anna"), lambda: rests_for(FIVE, "anna")):
        with pytest.raises(redis.RedisError):
            act()


@pytest.mark.parametrize(("seen", "counted"), [
    ("203.0.113.9", "203.0.113.9"),
    ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
    ("2001:db8:1:2:ffff::1", "2001:db8:1:2::/64"),
    ("::ffff:203.0.113.9", "203.0.113.9"),
    ("", "unknown"),
])  # fmt: skip
def test_an_address_is_counted_as_one_household(seen, counted):
    assert address_of(RequestFactory().get("/", REMOTE_ADDR=seen)) == counted


def test_behind_a_proxy_the_address_is_the_one_it_saw(settings):
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = 1
    request = RequestFactory().get("/", headers={"x-forwarded-for": "203.0.113.200, 203.0.113.1"})
    assert address_of(request) == "203.0.113.1"
