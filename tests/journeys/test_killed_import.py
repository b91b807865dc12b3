"""A long import over the real broker: its worker is killed halfway, another goes on, and each row is stored once."""

import signal
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from django.db.models import F

from monitoring.models import Import, Reading
from monitoring.services.imports import LEASE, ROWS_IN_A_PART
from server.celery import app
from server.demo.processes import start_importer
from tests.bench.ingest import csv_body, ranch
from tests.cast import as_factory
from tests.journeys.world import World, world
from tests.monitoring.sending import chain_holds
from tests.patience import wait_until

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")
ROWS = 30_000


@pytest.fixture
def running_world(tmp_path: Any) -> Iterator[World]:
    with world(tmp_path) as made:
        made.at(datetime(2026, 6, 1, 12, tzinfo=UTC))
        yield made


def test_a_killed_worker_loses_and_doubles_nothing(running_world: World):
    place = ranch()
    content = b"\n".join(csv_body().split(b"\n")[: ROWS + 1])
    headers = {"Content-Type": "text/csv", "Prefer": "respond-async"}
    with running_world.program(place.key) as program:
        answer = program.post(f"/farms/{place.farm.id}/imports", content=content, headers=headers)
        assert answer.status_code == 202, answer.text
        address = f"/farms/{place.farm.id}/imports/{answer.json()['id']}"
        first = start_importer(running_world.processes)
        wait_until(lambda: program.get(address).json()["rows_done"] > 0, "a part is stored")
        first.send_signal(signal.SIGKILL)
        first.wait()
        halfway = program.get(address).json()
        assert halfway["state"] == "running"
        assert halfway["rows_done"] in range(ROWS_IN_A_PART, ROWS, ROWS_IN_A_PART)
        # As if the time had passed after which a silent worker has lost it.
        with as_factory():
            Import.objects.filter(id=answer.json()["id"]).update(due_at=F("due_at") - LEASE)
        start_importer(running_world.processes)
        app.send_task("server.tasks.ring_for_imports")
        wait_until(lambda: program.get(address).json()["state"] == "done", "another worker has done the rest")
        done = program.get(address).json()
        assert (done["rows_done"], done["stored"], done["known"], done["refused"]) == (ROWS, ROWS, 0, 0)
        [last] = program.get(f"{address}/results", params={"cursor": ROWS - 1}).json()["results"]
    with as_factory():
        assert Reading.objects.filter(farm=place.farm).count() == ROWS
    assert (last["row"], last["outcome"]) == (ROWS + 1, "stored")
    assert chain_holds(place.farm)
