"""How often something may be done, counted in Valkey: every step is one script there, so one round trip and no race.

Two kinds. `take` counts requests in a sliding window: this window's counter and the share of the last one's that still
lies within it. That is two numbers a subject, no burst of twice as many at a window's edge, and nothing read, changed
and written back, as a list of moments would be: twenty requests at once can't each see the count of before. `try_once`
counts tries at something secret; when none is left, it rests. What is refused isn't counted, so a client that keeps
asking isn't shut out for longer. Subjects are stored as hashes: no address of a person and no key stands in Valkey.

While Valkey is gone, redis.RedisError leaves every function; nothing is let through uncounted.
"""

import hashlib
import ipaddress
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import redis
from allauth.account.adapter import get_adapter
from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest
from redis.backoff import NoBackoff
from redis.commands.core import Script
from redis.retry import Retry

PATIENCE = 2.0  # seconds
# KEYS: a mark; then two counters a limit, this window's and the last one's. ARGV: of each limit how many, the share of
# the last window that still counts, how long its counters live [ms], and 1 where it is only looked at, unless the mark
# is there. Gives whether the mark is there; where a limit is full, which one, with its two counts, instead.
TAKE = """
local found = redis.call('MGET', unpack(KEYS))
local marked = found[1] and 1 or 0
for i = 1, #ARGV / 4 do
  local this, last = tonumber(found[2 * i] or '0'), tonumber(found[2 * i + 1] or '0')
  local skipped = ARGV[4 * i] == '1' and marked == 1
  if not skipped and this + last * tonumber(ARGV[4 * i - 2]) >= tonumber(ARGV[4 * i - 3]) then
    return {i, this, last}
  end
end
for i = 1, #ARGV / 4 do
  if ARGV[4 * i] == '0' and redis.call('INCR', KEYS[2 * i]) == 1 then
    redis.call('PEXPIRE', KEYS[2 * i], ARGV[4 * i - 1])
  end
end
return marked
"""
# KEYS: the tries. ARGV: how many, within how long [ms]. Gives the number of this try, or 0.
TRY = """
local made = tonumber(redis.call('GET', KEYS[1]) or '0')
if made >= tonumber(ARGV[1]) then return 0 end
made = redis.call('INCR', KEYS[1])
if made == 1 then redis.call('PEXPIRE', KEYS[1], ARGV[2]) end
return made
"""


@dataclass(frozen=True)
class Limit:
    """So many requests (`most`) in any so many seconds."""

    name: str
    most: int
    seconds: int


@dataclass(frozen=True)
class Count:
    """A limit for somebody. One that is `only_looked_at` is counted elsewhere, and doesn't hold for who is marked."""

    limit: Limit
    subject: str
    only_looked_at: bool = False


@dataclass(frozen=True)
class Full:
    """The limit that is full, and after how many whole seconds it is worth asking again."""

    limit: Limit
    wait: int


@dataclass(frozen=True)
class Taken:
    """Whether a request may go on (`full` is None), and whether the mark that was asked for is there."""

    full: Full | None
    marked: bool


@dataclass(frozen=True)
class Tries:
    """So many tries (`most`) within so many seconds; then it rests for so many seconds."""

    name: str
    most: int
    within: int
    rests: int


def take(counts: Sequence[Count], *, now: float, mark: str = "") -> Taken:
    """Count one request against all of these limits, or against none if one is full. `now` in seconds."""
    keys, arguments = [_key("mark", mark)], []
    for count in counts:
        window, share = divmod(now / count.limit.seconds, 1)
        keys += [
            _key(count.limit.name, count.subject, int(window)),
            _key(count.limit.name, count.subject, int(window) - 1),
        ]
        arguments += [count.limit.most, 1 - share, 2000 * count.limit.seconds, int(count.only_looked_at)]
    answered = _script(TAKE)(keys=keys, args=arguments)
    if isinstance(answered, int):
        return Taken(None, bool(answered))
    place, this, last = answered
    limit = counts[place - 1].limit
    return Taken(Full(limit, _wait(limit, this, last, now)), marked=False)


def put_mark(mark: str, *, seconds: int) -> None:
    """Remember somebody, so that limits which are only looked at don't hold for them."""
    _client().set(_key("mark", mark), 1, ex=seconds)


def try_once(tries: Tries, subject: str) -> int:
    """Begin a try, before anything is compared: its number from 1 on, or 0 where none is left."""
    return int(_script(TRY)(keys=[_key(tries.name, subject)], args=[tries.most, tries.within * 1000]))


def take_back(tries: Tries, subject: str) -> None:
    """A try that was right doesn't count."""
    _client().decr(_key(tries.name, subject))


def rest(tries: Tries, subject: str) -> None:
    """From now on it rests for its full time."""
    _client().expire(_key(tries.name, subject), tries.rests)


def rests_for(tries: Tries, subject: str) -> int:
    """For how many more seconds no try is left; 0 where there is one."""
    key = _key(tries.name, subject)
    made, left = _client().pipeline().get(key).ttl(key).execute()
    return max(int(left), 1) if made is not None and int(made) >= tries.most else 0


def address_of(request: HttpRequest) -> str:
    """The address that asks, or the one that the proxy saw. Of IPv6 the first 64 bits: one household has them all."""
    try:
        told = str(get_adapter().get_client_ip(request))
    except PermissionDenied:  # a socket without an address: all who come that way are counted as one
        return "unknown"
    try:
        address = ipaddress.ip_address(told)
    except ValueError:
        return told
    if address.version == 6 and address.ipv4_mapped is None:
        return str(ipaddress.ip_network((address, 64), strict=False))
    return str(address.ipv4_mapped or address) if address.version == 6 else str(address)


def _wait(limit: Limit, this: int, last: int, now: float) -> int:
    """Seconds until this + last * (1 - share gone) < most, or until this window's own count is the last one's."""
    gone = now / limit.seconds % 1
    needed = 1.0 if this >= limit.most else 1 - (limit.most - this) / last
    return max(1, math.ceil((needed - gone) * limit.seconds))


def _key(name: str, subject: str, window: int | None = None) -> str:
    hashed = hashlib.sha256(subject.encode()).hexdigest()[:32]
    return f"limit:{name}:{hashed}" if window is None else f"limit:{name}:{hashed}:{window}"


def _script(text: str) -> Script:
    return _scripts(_location(), text)


def _client() -> redis.Redis:
    return _clients(_location())


def _location() -> str:
    return str(settings.CACHES["default"]["LOCATION"])


@cache
def _scripts(location: str, text: str) -> Script:
    return _clients(location).register_script(text)


@cache
def _clients(location: str) -> redis.Redis:
    # One more try, for a connection that Valkey closed meanwhile; while it is gone nobody waits.
    again = Retry(NoBackoff(), 1)
    return redis.Redis.from_url(location, socket_timeout=PATIENCE, socket_connect_timeout=PATIENCE, retry=again)
