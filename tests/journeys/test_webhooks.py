"""A whole way: a program sends a round, and another one is told of it by a real worker over real TLS."""

import json
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from django.utils import timezone

from alerts.models import Webhook, WebhookDelivery
from alerts.services import NewWebhook, make_webhook
from farms import services
from farms.ids import uuid7
from server.celery import app
from server.demo.processes import start_hooks
from tests.alerts.hook_server import Receiver, certificates, receiving
from tests.cast import acting, as_factory
from tests.journeys.world import ZONE, World, world
from tests.patience import wait_until

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")


@pytest.fixture
def receiver(tmp_path: Path, settings, monkeypatch) -> Iterator[Receiver]:
    ca, certificate, key = certificates(tmp_path)
    settings.WEBHOOKS_TEST_NETWORKS = ["127.0.0.1/32"]
    # For the worker, which reads its own.
    monkeypatch.setenv("WEBHOOKS_TEST_NETWORKS", "127.0.0.1/32")
    monkeypatch.setenv("WEBHOOKS_TEST_CA", str(ca))
    with receiving(tmp_path, certificate, key) as found:
        yield found


def test_a_worker_that_was_killed_in_a_call_is_replaced_and_nothing_is_lost(
    northfield, anna, cards, receiver: Receiver, tmp_path: Path
):
    with world(tmp_path) as made:
        made.at(datetime(2026, 6, 1, 12, tzinfo=ZONE))
        with acting(anna):
            _token, key = services.make_token(
                farm=northfield, name="Herd program", scope="write", by=anna, now=timezone.now(),
                expires_at=timezone.now() + timedelta(days=30),
            )  # fmt: skip
            address = f"https://127.0.0.1:{receiver.port}/in"
            make_webhook(farm=northfield, new=NewWebhook(address, ["round.stored"]), by=anna, now=timezone.now())
        receiver.status = 503
        send_round(made, key, northfield, cards[0])
        ring_until(lambda: len(receiver.came) >= 1, "the first try has come")
        wait_until(lambda: _failures() == 1, "the failure is noted")
        made.processes.started[-1].kill()
        receiver.status = 204
        start_hooks(made.processes)
        send_round(made, key, northfield, cards[1])
        with as_factory():
            Webhook.objects.update(quiet_until=None)
            WebhookDelivery.objects.update(next_try_at=timezone.now())
        ring_until(lambda: len(receiver.came) >= 3, "both rounds are told")
    first, *rest = [(came.headers["webhook-id"], json.loads(came.body)) for came in receiver.came]
    assert first in rest and len({message for message, _body in rest}) == 2
    assert {body["type"] for _message, body in rest} == {"round.stored"}


def send_round(made: World, key: str, farm, card) -> None:
    day = date(2026, 6, 1).isoformat()
    body = {"walked_on": day, "hung": [{"id": str(uuid7()), "station_id": str(card.id), "hung_on": day}]}
    with made.program(key) as program:
        answer = program.put(f"/farms/{farm.id}/rounds/{uuid7()}", json=body)
        assert answer.status_code in (200, 201), answer.text


def ring_until(happened, what: str) -> None:
    app.send_task("alerts.tasks.ring_webhooks")
    wait_until(happened, what)


def _failures() -> int:
    with as_factory():
        return sum(Webhook.objects.values_list("failures", flat=True))
