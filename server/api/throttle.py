"""How much of the API one asker may use: a token or a signed-in person, an address, and whoever is nobody yet.

A middleware and not one of DRF's throttle classes: those come after authentication, so a wrong token would never be
counted, and the ready ones read a list of moments, change it and write it back, which requests at once defeat. Here one
script counts everything before a token is looked up: one round trip a request.

**Tokens can't be guessed.** An address that sent too many bad tokens gets 429 for every token that hasn't been good
from there before, without a look at it. Tokens that were good from there within a day go on: thirty programs behind one
office's address don't suffer for the one whose token has ended.

The limits stand in the settings. Only an answer of 429 tells them, in RateLimit headers: a count of what is left would
tell a stranger's answers apart.
"""

import re
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import redis
from django.conf import settings
from django.http import HttpRequest
from django.http.response import HttpResponseBase

from farms.credentials import key_hash
from server.api.authentication import bearer_key
from server.api.problems import Problem
from server.limits import Count, Full, Limit, address_of, put_mark, take
from server.outage import unavailable

# What costs much: whole tables in and out. Looking at an import's progress isn't that.
BULK_IN = re.compile(r"/api/v\d+/farms/[^/]+/(readings/bulk|imports)/?")
BULK_OUT = re.compile(r"/api/v\d+/farms/[^/]+/exports/[^/]+\.(csv|xlsx|parquet|ndjson|geojson|zip)")
REMEMBERED = 24 * 3600  # seconds for which a token that was good from an address is known there


@dataclass(frozen=True)
class Asker:
    """Who asks, as far as can be told before a token is looked up. `key` is the token's fingerprint, or empty."""

    address: str
    key: str
    person: str

    @property
    def mark(self) -> str:
        return f"{self.key} {self.address}" if self.key else ""

    def counts(self, *, bulk: bool) -> list[Count]:
        """The limits that hold for a request, the narrowest first."""
        who = self.key or self.person
        own = Count(limit("key" if self.key else "person" if who else "nobody"), who or self.address)
        found = [own, Count(limit("address"), self.address)]
        if bulk:
            found += [Count(limit("bulk"), who or self.address), Count(limit("bulk_address"), self.address)]
        bad = [Count(limit("bad_key"), self.address, only_looked_at=True)] if self.key else []
        return bad + found


def throttled(get_response: Callable[[HttpRequest], HttpResponseBase]) -> Callable[[HttpRequest], HttpResponseBase]:
    """Middleware, inside the request's transaction: who asks too often under /api/ gets 429 with Retry-After."""

    def answer(request: HttpRequest) -> HttpResponseBase:
        if not request.path.startswith("/api/"):
            return get_response(request)
        try:
            return _counted(request, get_response)
        except redis.RedisError as error:
            return unavailable(request, error)

    return answer


def _counted(request: HttpRequest, get_response: Callable[[HttpRequest], HttpResponseBase]) -> HttpResponseBase:
    asker = _asker(request)
    taken = take(asker.counts(bulk=is_bulk(request)), now=time.time(), mark=asker.mark)
    if taken.full is not None:
        return _too_many(request, taken.full)
    response = get_response(request)
    if asker.key:
        _remember(asker, request, response, known=taken.marked)
    return response


def _remember(asker: Asker, request: HttpRequest, response: HttpResponseBase, *, known: bool) -> None:
    """Note a bad token against its address, and a good one, which server/api/authentication.py puts into `auth`."""
    if getattr(request, "auth", None) is not None:
        if not known:
            put_mark(asker.mark, seconds=REMEMBERED)
    elif response.status_code == 401:
        take([Count(limit("bad_key"), asker.address)], now=time.time())


def _asker(request: HttpRequest) -> Asker:
    key = bearer_key(request)
    if key is not None:
        return Asker(address_of(request), key_hash(key).hex(), "")
    return Asker(address_of(request), "", str(request.user.pk) if request.user.is_authenticated else "")


def is_bulk(request: HttpRequest) -> bool:
    """Whether a request takes in or gives out a whole table."""
    if request.method == "POST":
        return BULK_IN.fullmatch(request.path) is not None
    return request.method == "GET" and BULK_OUT.fullmatch(request.path) is not None


def limit(name: str) -> Limit:
    """The limit of this name as the settings have it, such as "600/60": requests, and seconds."""
    return _limit(name, settings.API_LIMITS[name], settings.API_LIMITS_TIMES)


@cache
def _limit(name: str, written: str, times: int) -> Limit:
    most, _slash, seconds = written.partition("/")
    return Limit(name, int(most) * times, int(seconds))


def _too_many(request: HttpRequest, full: Full) -> HttpResponseBase:
    """429 with Retry-After, and the limit as the IETF's draft of RateLimit headers writes it."""
    name = full.limit.name.replace("_", "-")
    headers = {
        "Retry-After": str(full.wait),
        "RateLimit-Policy": f'"{name}";q={full.limit.most};w={full.limit.seconds}',
        "RateLimit": f'"{name}";r=0;t={full.wait}',
    }
    return Problem.plain(429, headers=headers).response(request)
