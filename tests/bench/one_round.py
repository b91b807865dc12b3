"""One round of ten readings by PUT against a GET of the farm's name, as four phones or programs meet the service.

A web server as in production (gunicorn, one process of four threads, the app's role) answers four clients at once, each
with the key of a farm of its own and one open connection. Every client sends in turn a GET of its farm's name, a PUT
of a new round with ten counts and ten fresh cards, and a GET of an address that asks nothing of the database. All three
go through the same middleware; the figures are ratios of the 95th percentiles, and of the medians.
"""

import http.client
import json
import statistics
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

from django.db import connections

from farms.ids import uuid7
from monitoring.models import Station
from server.demo.processes import free_port, running, start_site
from tests.bench.ingest import as_factory, ranch

# Each farm has a season behind it when the clock starts.
CLIENTS, SEASON, RUNS = 4, 26, 250
CARDS = 10
FIRST = date(2020, 1, 6)


@dataclass(frozen=True)
class Sender:
    """One client: its farm, its key and the farm's cards."""

    farm_id: UUID
    key: str
    cards: list[UUID]


def make_sender() -> Sender:
    """A farm with ten cards, and a key to it."""
    made = ranch(CARDS, FIRST)
    with as_factory():
        cards = Station.objects.filter(farm=made.farm).order_by("number").values_list("id", flat=True)
        return Sender(made.farm.id, made.key, list(cards))


def round_of_ten(sender: Sender, number: int) -> bytes:
    """The number-th week's round: every card is counted, and a fresh one hung."""
    walked = FIRST + timedelta(days=7 * (number + 1))
    hung = str(walked - timedelta(days=7))
    readings = [
        {"id": str(uuid7()), "station_id": str(card), "hung_on": hung, "count": 20 + (number * place) % 80}
        for place, card in enumerate(sender.cards)
    ]
    fresh = [{"id": str(uuid7()), "station_id": str(card), "hung_on": str(walked)} for card in sender.cards]
    return json.dumps({"walked_on": str(walked), "readings": readings, "hung": fresh}).encode()


def drive(sender: Sender, port: int, numbers: range) -> dict[str, list[float]]:
    """Seconds that each of the three took, request by request."""
    client = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    headers = {"Authorization": f"Bearer {sender.key}", "Content-Type": "application/json"}
    farm = f"/api/v1/farms/{sender.farm_id}"

    def ask(method: str, path: str, body: bytes | None = None) -> float:
        begin = time.perf_counter()
        client.request(method, path, body, headers)
        answer = client.getresponse()
        content = answer.read()
        took = time.perf_counter() - begin
        assert answer.status in (200, 201), content
        return took

    times: dict[str, list[float]] = {"get": [], "round": [], "empty": []}
    for body in [round_of_ten(sender, number) for number in numbers]:
        taken = {
            "get": ask("GET", f"{farm}?fields=name"),
            "round": ask("PUT", f"{farm}/rounds/{uuid7()}", body),
            "empty": ask("GET", "/healthz"),
        }
        for name, seconds in taken.items():
            times[name].append(seconds)
    return times


def figures() -> dict[str, dict[str, Any]]:
    """Name, value, unit and number of runs of every figure."""
    senders = [make_sender() for _ in range(CLIENTS)]
    port = free_port(0)
    with tempfile.TemporaryDirectory() as folder, running(Path(folder), {"LOG_LEVEL": "WARNING"}) as processes:
        start_site(processes, port)
        with ThreadPoolExecutor(CLIENTS) as clients:
            list(clients.map(lambda sender: drive(sender, port, range(SEASON)), senders))
            with connections["owner"].cursor() as cursor:
                # As the database does by itself with tables in use.
                cursor.execute("ANALYZE")
            driven = list(clients.map(lambda sender: drive(sender, port, range(SEASON, SEASON + RUNS)), senders))
    times = {name: [seconds for each in driven for seconds in each[name]] for name in driven[0]}
    p95 = {name: statistics.quantiles(values, n=20)[-1] for name, values in times.items()}
    median = {name: statistics.median(values) for name, values in times.items()}
    told = {
        "api.round_p95_vs_get": (p95["round"] / p95["get"], "times"),
        "api.round_p95_vs_empty": (p95["round"] / p95["empty"], "times"),
        "api.round_median_vs_get": (median["round"] / median["get"], "times"),
        "api.round_p95_ms": (p95["round"] * 1000, "ms"),
        "api.get_p95_ms": (p95["get"] * 1000, "ms"),
    }
    runs = CLIENTS * RUNS
    return {name: {"value": round(value, 2), "unit": unit, "runs": runs} for name, (value, unit) in told.items()}
