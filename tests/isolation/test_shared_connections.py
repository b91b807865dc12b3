"""Twenty people's requests, interleaved over four connections: each gets the own farm's rows, all of them, no others.

Some requests crash, some are rolled back, some lose their connection: had one of them left its settings on a
connection, the next request over it would answer for somebody else.
"""

import logging
import random
import threading
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any

import pytest
from django.core.cache import cache
from django.core.handlers.wsgi import WSGIHandler
from django.db import connection, connections, transaction
from django.test import RequestFactory

from farms.models import Farm, Region, User
from server.api.v1 import facilities
from tests.cast import acting, make_facility, make_farm, make_stations, make_user
from tests.full import FULL
from tests.isolation.markers import CSRF
from tests.monitoring.sending import HUNG, hang, reading, send
from tests.server.api.senders import Sender, session_of, token_of

pytestmark = [
    pytest.mark.django_db(transaction=True, databases="__all__"),
    pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning"),
]
PEOPLE, CONNECTIONS = 20, 4
REQUESTS = 10_000 if FULL else 1_000
# One request in so many goes wrong on purpose.
ONE_IN = 12
READS = ("", "/facilities", "/stations", "/rounds", "/readings", "/weeks", "/people", "/round-sheet", "/seasons")
PAGES = ("/farms/{}/settings/people/", "/farms/{}/rounds/", "/farms/{}/settings/stations/")
fault = threading.local()


class Broken(RuntimeError):
    """What goes wrong on purpose."""


@dataclass
class Person:
    """Somebody with a farm of their own; what each address answers when nobody else asks."""

    farm: Farm
    marker: str
    senders: list[Sender]
    answers: dict[tuple[int, str], tuple[int, bytes]] = field(default_factory=dict)


@pytest.fixture
def people(region: Region) -> list[Person]:
    """Each with a barn, three cards and two readings, all named and counted unlike anybody else's."""
    return [_person(region, number) for number in range(PEOPLE)]


def _person(region: Region, number: int) -> Person:
    marker = f"Orchard{number:02}x"
    owner: User = make_user(marker)
    farm = make_farm(f"{marker} farm", region, owner)
    cards = make_stations(make_facility(farm, f"{marker} barn", "calf_barn"), "card", range(1, 4))
    with acting(owner):
        hang(farm, cards, HUNG)
        send(farm, *(reading(card, 41_000 + number) for card in cards))
    return Person(farm, marker, [session_of(owner), token_of(farm, owner, "write")])


@pytest.fixture
def pool(people: list[Person], monkeypatch: Any) -> Iterator[Any]:
    """Every thread's `default` takes one of four connections for a request, and gives it back after it."""
    connection.close()
    told = connections.settings["default"]
    monkeypatch.setitem(told, "CONN_MAX_AGE", 0)
    monkeypatch.setitem(
        told, "OPTIONS", {**told["OPTIONS"], "pool": {"min_size": CONNECTIONS, "max_size": CONNECTIONS, "timeout": 60}}
    )
    yield connection.pool
    connection.close()
    connection.close_pool()


@pytest.fixture
def faulty(monkeypatch: Any) -> None:
    """The list of barns goes wrong for a thread that wants it to."""
    usual = facilities.facilities_of

    def facilities_of(farm: Farm) -> Any:
        wanted, fault.wanted = getattr(fault, "wanted", ""), ""
        if wanted == "crash":
            raise Broken
        if wanted == "rollback":
            transaction.set_rollback(True)
        with connection.cursor() as cursor:
            if wanted == "statement":
                cursor.execute("SELECT 1 / 0")
            if wanted == "connection":
                connection.connection.close()
                cursor.execute("SELECT 1")
        return usual(farm)

    monkeypatch.setattr(facilities, "facilities_of", facilities_of)


FAULTS = {"crash": {500}, "statement": {500}, "connection": {503}, "rollback": {500}}
factory, handler = RequestFactory(), WSGIHandler()


def ask(sender: Sender, path: str) -> tuple[int, bytes]:
    """Through the whole service as a server would: signals, middleware, and the connection given back at the end."""
    headers = {"HTTP_X_REQUEST_ID": "the-same", "HTTP_COOKIE": sender.cookies.output(header="", sep=";").strip()}
    environ = factory.get(path, **headers, **sender._credentials).environ
    status: list[str] = []
    response = handler(environ, lambda line, _headers: status.append(line))
    try:
        content = b"".join(response)
    finally:
        response.close()
    return int(status[0].split()[0]), CSRF.sub(b"", content)


def addresses(farm: Farm) -> list[tuple[int, str]]:
    """Which sender asks what: the session the API and pages, the token the API."""
    api = [f"/api/v1/farms/{farm.id}{path}" for path in READS] + ["/api/v1/me", "/api/v1/farms"]
    return [(who, path) for path in api for who in (0, 1)] + [(0, path.format(farm.id)) for path in PAGES]


def one_request(people: list[Person], chance: random.Random) -> Counter[str]:
    """One random request of one random person; what was wrong with its answer, if anything."""
    person = chance.choice(people)
    what = chance.random()
    if what < 1 / ONE_IN:
        fault.wanted = wanted = chance.choice(list(FAULTS))
        status, content = ask(chance.choice(person.senders), f"/api/v1/farms/{person.farm.id}/facilities")
        fault.wanted = ""
        wrong = status not in FAULTS[wanted]
        return _marks(person, people, content) + Counter({f"{wanted} gave {status}": wrong, wanted: 1})
    if what < 2 / ONE_IN:
        other = chance.choice([each for each in people if each is not person])
        sender = chance.choice([*person.senders, Sender()])
        status, content = ask(sender, f"/api/v1/farms/{other.farm.id}{chance.choice(READS)}")
        return Counter({f"foreign: {status}": status not in (401, 404), "foreign": 1}) + _marks(person, people, content)
    who, path = chance.choice(list(person.answers))
    answer = ask(person.senders[who], path)
    differs = answer != person.answers[who, path]
    return Counter({f"other than alone: {path} {answer[0]}": differs, "own": 1}) + _marks(person, people, answer[1])


def _marks(person: Person, people: list[Person], content: bytes) -> Counter[str]:
    others = [each.marker for each in people if each is not person and each.marker.encode() in content]
    return Counter({f"{person.marker} was told of {each}": 1 for each in others})


@pytest.fixture
def quiet() -> Iterator[None]:
    """Hundreds of errors on purpose, each of which would have its lines."""
    logging.disable(logging.CRITICAL)
    yield
    logging.disable(logging.NOTSET)


@pytest.mark.usefixtures("faulty", "quiet")
def test_twenty_people_over_four_connections_see_their_own_farms(
    people: list[Person], pool: Any, settings: Any, record_property: Any
):
    settings.API_LIMITS_TIMES = 100_000
    cache.clear()
    for person in people:
        person.answers = {(who, path): ask(person.senders[who], path) for who, path in addresses(person.farm)}
        assert {status for status, _content in person.answers.values()} == {200}
        told = [path for (who, path), (_status, content) in person.answers.items() if person.marker.encode() in content]
        assert len(told) > len(PAGES)
    parts = [random.Random(number) for number in range(PEOPLE)]  # noqa: S311 - no secret

    def part(chance: random.Random) -> Counter[str]:
        try:
            return sum((one_request(people, chance) for _ in range(REQUESTS // PEOPLE)), Counter())
        finally:
            connections["default"].close()

    with ThreadPoolExecutor(PEOPLE) as threads:
        found = sum(threads.map(part, parts), Counter())
    usual = {name: found.pop(name, 0) for name in ("own", "foreign", *FAULTS)}
    assert +found == Counter()
    assert sum(usual.values()) == REQUESTS and min(usual.values()) > 0
    stats = pool.get_stats()
    assert (stats["pool_max"], stats["pool_size"]) == (CONNECTIONS, CONNECTIONS)
    for name, times in usual.items():
        record_property(f"asked over {CONNECTIONS} connections by {PEOPLE} people: {name}", times)
