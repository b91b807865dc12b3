"""Who asks the API too often gets 429; tokens can't be guessed; the thirty programs of one office can work."""

import re
import time
from uuid import uuid4

import pytest
import time_machine
from django.http import HttpResponse
from django.test import RequestFactory

from farms.models import Farm, User
from server import settings as written
from server.api.throttle import BULK_OUT, _asker, is_bulk
from server.limits import take
from tests.server.api.routes import routes
from tests.server.api.senders import Sender, session_of, token_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
START = int(time.time()) // 900 * 900
OFFICE, ELSEWHERE = "203.0.113.7", "203.0.113.8"
WIDE = dict.fromkeys(written.API_LIMITS, "1000000/60")


@pytest.fixture
def limits(settings):
    """Set some limits; the others are as good as none. The clock stands at the beginning of every window."""

    def set_limits(**changed: str) -> None:
        settings.API_LIMITS_TIMES = 1
        settings.API_LIMITS = WIDE | changed

    with time_machine.travel(START, tick=False) as clock:
        set_limits.clock = clock
        yield set_limits


def at(sender: Sender, address: str) -> Sender:
    sender.defaults["REMOTE_ADDR"] = address
    return sender


def made_up(address: str = OFFICE) -> Sender:
    return at(Sender("fly_" + uuid4().hex), address)


def statuses(sender: Sender, times: int, path: str = "/api/v1/me") -> list[int]:
    return [sender.get(path).status_code for _ in range(times)]


def test_a_token_has_its_own_limit_and_the_wait_is_enough(limits, program: Sender, reader: Sender):
    limits(key="5/60")
    assert statuses(program, 5) == [200] * 5
    refused = program.get("/api/v1/me")
    problem = assert_problem(refused, 429, "too_many_requests")
    assert "Retry-After" in problem["detail"]
    assert refused["Retry-After"] == "60"
    assert (refused["RateLimit-Policy"], refused["RateLimit"]) == ('"key";q=5;w=60', '"key";r=0;t=60')
    assert statuses(reader, 1) == [200]
    limits.clock.shift(61)
    assert statuses(program, 1) == [200]


def test_the_sentence_speaks_the_readers_language(limits, reader: Sender):
    limits(key="0/60")
    told = {
        language: reader.get("/api/v1/me", HTTP_ACCEPT_LANGUAGE=language).json()["detail"] for language in ("en", "es")
    }
    assert told["en"] != told["es"]


def test_a_signed_in_person_has_one_limit_for_all_their_browsers(limits, anna: User, ben: User, northfield: Farm):
    limits(person="5/60")
    assert statuses(session_of(anna), 3) + statuses(session_of(anna), 3) == [200] * 5 + [429]
    assert statuses(session_of(ben), 1) == [200]


def test_all_who_share_an_address_have_one_limit_too(limits, program: Sender, reader: Sender, anna: User):
    limits(address="5/60")
    asked = [at(program, OFFICE), at(reader, OFFICE), at(session_of(anna), OFFICE)]
    assert [sender.get("/api/v1/me").status_code for sender in asked * 2] == [200] * 5 + [429]
    assert statuses(at(program, ELSEWHERE), 1) == [200]


def test_who_is_nobody_has_a_narrow_one(limits, reader: Sender):
    limits(nobody="5/60")
    assert statuses(at(Sender(), OFFICE), 6) == [401] * 5 + [429]
    assert statuses(at(Sender(), ELSEWHERE), 1) == [401]
    assert statuses(at(reader, OFFICE), 1) == [200]


def test_tokens_can_not_be_guessed(limits, northfield: Farm, anna: User, reader: Sender):
    limits(bad_key="5/900")
    assert [made_up().get("/api/v1/me").status_code for _ in range(7)] == [401] * 5 + [429] * 2
    # From there not even a right token is looked at, unless it was good there before.
    assert statuses(at(reader, OFFICE), 1) == [429]
    assert statuses(at(reader, ELSEWHERE), 1) == [200]
    limits.clock.shift(1801)
    assert made_up().get("/api/v1/me").status_code == 401
    assert statuses(at(reader, OFFICE), 1) == [200]


def test_one_ended_token_in_an_office_does_not_stop_the_others(limits, northfield: Farm, anna: User):
    limits(bad_key="5/900")
    programs = [at(token_of(northfield, anna, "read"), OFFICE) for _ in range(3)]
    for program in programs:
        assert statuses(program, 1) == [200]
    assert {made_up().get("/api/v1/me").status_code for _ in range(10)} == {401, 429}
    for program in programs:
        assert statuses(program, 2) == [200] * 2


def test_no_open_address_makes_a_made_up_token_a_known_one(limits, northfield: Farm):
    """The farm phone's address asks for no token: what is sent along there is neither good nor bad."""
    limits(bad_key="1/900")
    guess = made_up()
    assert guess.post("/api/v1/phone", {"code": "0000 0000", "name": "Barn"}).status_code == 422
    assert guess.get("/api/v1/docs").status_code == 200
    assert [made_up().get("/api/v1/me").status_code, guess.get("/api/v1/me").status_code] == [401, 429]


def test_a_guess_is_held_against_its_address_first(limits):
    limits(bad_key="5/900")
    asker = _asker(RequestFactory().get("/api/v1/me", REMOTE_ADDR=OFFICE, headers={"authorization": "Bearer x"}))
    assert [count.limit.name for count in asker.counts(bulk=False)] == ["bad_key", "key", "address"]


def test_whole_tables_have_a_limit_of_their_own(limits, program: Sender, northfield: Farm):
    limits(bulk="2/600")
    path = f"/api/v1/farms/{northfield.id}/readings/bulk"
    answers = [program.post(path, {"readings": []}).status_code for _ in range(3)]
    assert 429 not in answers[:2] and answers[2] == 429
    assert statuses(program, 5) == [200] * 5
    assert program.get(f"/api/v1/farms/{northfield.id}/imports/{uuid4()}").status_code != 429


@pytest.mark.parametrize(("method", "path", "bulk"), [
    ("POST", "readings/bulk", True), ("POST", "imports", True), ("GET", "imports", False),
    ("GET", "imports/0190/results", False), ("GET", "exports", False), ("GET", "exports/readings.csv", True),
    ("GET", "exports/rounds.parquet", True), ("GET", "exports/darwin-core.zip", True),
    ("GET", "exports/stations.geojson", True), ("GET", "exports/readings.schema.json", False),
    ("GET", "exports/datapackage.json", False), ("GET", "readings", False), ("PUT", "rounds/0190", False),
])  # fmt: skip
def test_which_requests_are_whole_tables(method, path, bulk):
    request = getattr(RequestFactory(), method.lower())(f"/api/v1/farms/{uuid4()}/{path}")
    assert is_bulk(request) is bulk


def test_every_route_that_takes_in_a_table_is_known_as_one():
    taking = {
        str(route) for route in routes() if re.search(r"/(bulk|imports)$", route.template) and route.method == "post"
    }
    assert taking == {"post farms/{farm_id}/readings/bulk", "post farms/{farm_id}/imports"}
    assert BULK_OUT.fullmatch("/api/v1/farms/x/exports/readings.ndjson")


def test_thirty_farms_programs_work_behind_one_offices_address(settings):
    """As set up unless the environment says otherwise: each of thirty asks 150 times within one second."""
    settings.API_LIMITS_TIMES = 1
    for program in range(30):
        request = RequestFactory().get("/", REMOTE_ADDR=OFFICE, headers={"authorization": f"Bearer {program}"})
        counts = _asker(request).counts(bulk=False)
        assert all(take(counts, now=START + 1).full is None for _ in range(150))


def test_a_phone_that_had_no_signal_for_three_days_catches_up(settings):
    """Three rounds of twenty cards, each card sent by itself and every one five times over, all within a second."""
    settings.API_LIMITS_TIMES = 1
    request = RequestFactory().get("/", REMOTE_ADDR=OFFICE, headers={"authorization": "Bearer the phone's"})
    counts = _asker(request).counts(bulk=False)
    assert all(take(counts, now=START + 1).full is None for _ in range(3 * 20 * 5))


def test_without_valkey_the_api_says_try_again(settings, reader: Sender):
    nowhere = "unix:///nonexistent/valkey.sock"
    settings.CACHES = {"default": {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": nowhere}}
    refused = reader.get("/api/v1/me")
    assert_problem(refused, 503, "unavailable")
    assert refused["Retry-After"] == "30"


def test_pages_are_not_counted(limits):
    from django.test import Client

    limits(nobody="0/60", address="0/60")
    assert isinstance(Client().get("/sign-in/"), HttpResponse)
    assert Client().get("/sign-in/").status_code == 200
