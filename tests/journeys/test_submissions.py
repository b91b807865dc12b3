"""Rounds over a network that loses answers: sent again and again, in any order, twenty at once, stored once.

Must show 3 of issue 4. The seed is fixed; what was sent and stored is told at the run's end.
"""

import random
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path
from typing import Any

import httpx
import pytest

from farms.ids import uuid7
from farms.ledger import verify_links
from farms.models import Farm, LedgerHead, User
from monitoring.models import Reading, Round, Station
from tests.cast import NOW, as_factory
from tests.full import FULL
from tests.server.api.bodies import TODAY
from tests.server.api.senders import token_of

SEED, AT_ONCE, LOST = 20260601, 20, 0.3
ROUNDS = 1000 if FULL else 100
pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")


@pytest.fixture
def clock(standing_clock: Path, settings: Any) -> Path:
    settings.API_LIMITS_TIMES = 1000
    return standing_clock


def rounds_of(leg: Station, number: int) -> list[tuple[str, dict[str, Any]]]:
    """Rounds as phones send them: two pens' legs each."""
    made = []
    for place in range(number):
        readings = [
            {"id": str(uuid7()), "station_id": str(leg.id), "animals": [place % 7, pen, 3], "pen": f"{place} {pen}"}
            for pen in (1, 2)
        ]
        made.append((str(uuid7()), {"walked_on": str(TODAY), "readings": readings}))
    return made


def in_any_order(rounds: list[Any], dice: random.Random) -> list[Any]:
    sends = [each for each in rounds for _ in range(dice.randint(1, 5))]
    dice.shuffle(sends)
    return sends


def all_at_once(sends: list[Any], send: Callable[[Any], int]) -> list[int]:
    with ThreadPoolExecutor(AT_ONCE) as senders:
        return list(senders.map(send, sends))


def stored(farm: Farm) -> tuple[int, int, int]:
    """Rounds, readings and entries of the chain."""
    with as_factory():
        head = LedgerHead.objects.get(farm=farm).number
        return Round.objects.filter(farm=farm).count(), Reading.objects.filter(farm=farm).count(), head


def test_what_is_sent_again_and_again_is_stored_once(
    clock: Path, northfield: Farm, leg_station: Station, anna: User, live_server: Any, record_property: Any
):
    dice = random.Random(SEED)  # noqa: S311 - a fixed seed, no secret
    rounds = rounds_of(leg_station, ROUNDS)
    sends = in_any_order(rounds, dice)
    lost = [dice.random() < LOST for _ in sends]
    key = f"Bearer {token_of(northfield, anna, 'write').key}"
    entries = stored(northfield)[2]
    limits = httpx.Limits(max_connections=AT_ONCE)
    with httpx.Client(base_url=live_server.url, headers={"Authorization": key}, timeout=120, limits=limits) as client:

        def send(each: tuple[str, dict[str, Any]]) -> int:
            return client.put(f"/api/v1/farms/{northfield.id}/rounds/{each[0]}", json=each[1]).status_code

        answers = all_at_once(sends, send)
        # Whoever got no answer sends again.
        answers += all_at_once([each for each, is_lost in zip(sends, lost, strict=True) if is_lost], send)
        first = stored(northfield)
        clock.write_text((NOW + timedelta(days=31)).isoformat())
        replayed = all_at_once(rounds, send)
    told = {"made": ROUNDS, "sent": len(answers), "stored": first[0], "sent a month later": len(replayed)}
    for name, number in told.items():
        record_property(f"asked again and again, twenty at once: rounds {name}", number)
    assert set(answers) <= {200, 201}
    assert answers.count(201) == ROUNDS
    assert first == (ROUNDS, 2 * ROUNDS, entries + ROUNDS)
    assert (set(replayed), stored(northfield)) == ({200}, first)
    with as_factory():
        assert verify_links(northfield.id) == []
