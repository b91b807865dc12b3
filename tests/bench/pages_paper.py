"""How long a farm's 500 cards take as a file to print, from the request of its owner to the last byte of the PDF."""

import statistics
import time
from typing import Any

from django.test import Client
from django.urls import reverse

from farms.models import User
from tests.bench.ingest import STATIONS, as_factory, ranch

RUNS = 5


def figures() -> dict[str, dict[str, Any]]:
    """Name, value, unit and number of runs of every figure; the median of the runs."""
    place, client = ranch(), Client(SERVER_NAME="localhost")
    with as_factory():
        client.force_login(User.objects.get(id=place.user_id))
    address = reverse("print_file", kwargs={"farm_id": place.farm.id})
    seconds = [_seconds(client, address) for _ in range(RUNS + 1)][1:]
    figure = {"value": round(statistics.median(seconds), 3), "unit": f"s for {STATIONS} cards", "runs": RUNS}
    return {"pages.cards_500_seconds": figure}


def _seconds(client: Client, address: str) -> float:
    asked = {"kind": "backs", "size": "3x5in", "paper": "letter", "language": "en", "copies": "1"}
    begin = time.perf_counter()
    answer = client.get(address, asked)
    took = time.perf_counter() - begin
    assert answer.status_code == 200 and answer.content.startswith(b"%PDF")
    return took
