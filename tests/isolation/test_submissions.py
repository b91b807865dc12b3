"""Rounds sent over a bad network: each several times, in any order, many at once, answers lost. Each is stored once."""

import http.client
import json
import os
import random
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from uuid import UUID

import pytest

from farms.ids import uuid7
from farms.ledger import verify_links
from farms.models import Farm, LedgerHead, Region, User
from monitoring.models import Reading, Round, Station
from tests.cast import NOW, SEASON_OPENS, as_factory, make_facility, make_farm, make_stations
from tests.isolation.farm_tables import everything_of
from tests.monitoring.sending import chain_holds
from tests.server.api.senders import token_of

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")
ROUNDS = 1_000 if os.environ.get("FLYROUND_FULL") else 100
FARMS, AT_ONCE, MOST_TIMES, LOST = 20, 20, 5, 0.3
CARDS = 3


@dataclass(frozen=True)
class Submission:
    """A round as a phone keeps it until it is answered."""

    farm: Farm
    round_id: UUID
    key: str
    body: bytes

    @property
    def path(self) -> str:
        return f"/api/v1/farms/{self.farm.id}/rounds/{self.round_id}"


@pytest.fixture
def submissions(region: Region, anna: User) -> list[Submission]:
    """As many rounds on each of twenty farms, one a day: cards hung the day before, and a leg count."""
    made = []
    for number in range(FARMS):
        farm = make_farm(f"Bad Network {number}", region, anna)
        cards = make_stations(make_facility(farm, "Calf barn", "calf_barn"), "card", range(1, CARDS + 1))
        legs = make_stations(make_facility(farm, "Dry lot", "dry_lot"), "leg", range(1, 2))
        key = token_of(farm, anna, "write")._credentials["HTTP_AUTHORIZATION"]
        days = [SEASON_OPENS + timedelta(days=1 + each) for each in range(ROUNDS // FARMS)]
        made += [Submission(farm, uuid7(), key, body_of(cards, legs[0], day)) for day in days]
    return made


def body_of(cards: list[Station], leg: Station, day: date) -> bytes:
    hung = str(day - timedelta(days=1))
    readings: list[dict[str, Any]] = [
        {"id": str(uuid7()), "station_id": str(card.id), "hung_on": hung, "count": 10 + place}
        for place, card in enumerate(cards)
    ]
    readings.append({"id": str(uuid7()), "station_id": str(leg.id), "animals": [3, 0, 4]})
    notes = [{"id": str(uuid7()), "text": "Windy (invented)"}]
    return json.dumps({"walked_on": str(day), "readings": readings, "notes": notes}).encode()


class BadNetwork:
    """Sends submissions to a server; some answers never arrive, and then the same is sent again."""

    def __init__(self, address: str, lost: float) -> None:
        self.address, self.lost = urlsplit(address).netloc, lost

    def send(self, number_and_submission: tuple[int, Submission]) -> Counter[str]:
        number, submission = number_and_submission
        chance = random.Random(number)  # noqa: S311 - no secret
        told: Counter[str] = Counter()
        while True:
            told["sent"] += 1
            if chance.random() < self.lost:
                self._put(submission, wait=chance.random() < 0.5)
                told["answers lost"] += 1
                continue
            status = self._put(submission, wait=True)
            told[f"answered {status}"] += 1
            if status not in (429, 503):
                return told

    def _put(self, submission: Submission, *, wait: bool) -> int:
        """The status; 0 where the line is cut before the answer, while the service may still be at work."""
        line = http.client.HTTPConnection(self.address, timeout=60)
        headers = {"Authorization": submission.key, "Content-Type": "application/json"}
        try:
            line.request("PUT", submission.path, submission.body, headers)
            return line.getresponse().status if wait else 0
        finally:
            line.close()


def send_all(work: list[Submission], address: str, lost: float) -> Counter[str]:
    network = BadNetwork(address, lost)
    with ThreadPoolExecutor(AT_ONCE) as threads:
        return sum(threads.map(network.send, enumerate(work)), Counter())


def test_each_round_is_stored_once_whatever_the_network_does(
    submissions: list[Submission], live_server: Any, settings: Any, record_property: Any
):
    settings.API_LIMITS_TIMES = 100_000
    chance = random.Random(20)  # noqa: S311 - no secret
    times = [each for each in submissions for _ in range(chance.randint(1, MOST_TIMES))]
    chance.shuffle(times)
    told = send_all(times, live_server.url, LOST)
    assert set(told) <= {"sent", "answers lost", "answered 200", "answered 201"}
    assert_each_once(submissions)
    for name, count in told.items():
        record_property(f"asked over a bad network for {ROUNDS} rounds: {name}", count)
    replay_a_month_later(submissions, live_server.url, settings)


def replay_a_month_later(submissions: list[Submission], address: str, settings: Any) -> None:
    """All of them once more, 31 days on, when no answer of a first sending would be kept any more."""
    farms = [each.farm.id for each in submissions]
    before = everything_of(farms)
    Path(settings.CLOCK_FILE).write_text((NOW + timedelta(days=31)).isoformat())
    assert send_all(submissions, address, 0.0) == {"sent": ROUNDS, "answered 200": ROUNDS}
    assert everything_of(farms) == before


def assert_each_once(submissions: list[Submission]) -> None:
    """Exactly these rounds and readings, and chains that hold and say the same."""
    wanted = {(each.farm.id, each.round_id) for each in submissions}
    readings = {(each.farm.id, UUID(row["id"])) for each in submissions for row in json.loads(each.body)["readings"]}
    with as_factory():
        assert sorted(Round.objects.values_list("farm_id", "id")) == sorted(wanted)
        assert sorted(Reading.objects.values_list("farm_id", "id")) == sorted(readings)
        numbers = dict(LedgerHead.objects.values_list("farm_id", "number"))
    for farm in {each.farm.id: each.farm for each in submissions}.values():
        assert numbers[farm.id] == ROUNDS // FARMS
        with as_factory():
            assert verify_links(farm.id) == []
        assert chain_holds(farm)
