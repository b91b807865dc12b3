"""Workers who hear two rings at the same moment: one of them has a group's mails, the other is free for the next."""

import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from uuid import UUID

import pytest
from django.core.mail.backends.locmem import EmailBackend

from alerts.delivery import outbox
from alerts.models import Digest
from farms.models import Farm, Group, User
from tests.alerts.test_outbox import make_digest
from tests.cast import NOW, as_factory, as_worker_process

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")
WORKERS, MAILS = 4, 12


@pytest.fixture
def most_in_hand(monkeypatch: pytest.MonkeyPatch) -> Callable[[], int]:
    """A server that takes a while for each mail; how many it had before it at once, at most."""
    in_hand, most, lock = 0, 0, threading.Lock()
    taken = EmailBackend.send_messages

    def send(self: EmailBackend, messages: list) -> int:
        nonlocal in_hand, most
        with lock:
            in_hand += 1
            most = max(most, in_hand)
        time.sleep(0.02)
        with lock:
            in_hand -= 1
        return int(taken(self, messages))

    monkeypatch.setattr(EmailBackend, "send_messages", send)
    return lambda: most


def test_a_groups_mails_are_in_one_workers_hand(
    group: Group, northfield: Farm, anna: User, most_in_hand: Callable[[], int]
):
    for number in range(MAILS):
        make_digest(northfield, anna, f"mail {number}")
    together = threading.Barrier(WORKERS, timeout=30)

    def ring(group_id: UUID) -> int:
        with as_worker_process():
            together.wait()
            return outbox.send_due(NOW, group_id).total()

    with ThreadPoolExecutor(WORKERS) as workers:
        sent = sum(workers.map(ring, [group.id] * WORKERS))
    # Whoever had to stand back may have left some for the next ring.
    with as_worker_process():
        sent += outbox.send_due(NOW, group.id).total()
    assert most_in_hand() == 1
    assert sent == MAILS
    with as_factory():
        assert Digest.objects.filter(farm=northfield, state="sent", attempts=1).count() == MAILS
