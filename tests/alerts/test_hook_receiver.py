"""A webhook from a round to a real receiver, and the receiving program of the documents."""

import json
import subprocess
import sys
import textwrap
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from alerts.delivery.hook_call import post
from alerts.services import NewWebhook, make_webhook
from tests.alerts.hook_server import Receiver, certificates, receiving
from tests.alerts.test_hook_call import here
from tests.alerts.test_hooks import ring, walk
from tests.cast import NOW, acting

pytestmark = pytest.mark.django_db


@pytest.fixture
def receiver(tmp_path: Path, settings: Any) -> Iterator[Receiver]:
    ca, certificate, key = certificates(tmp_path)
    settings.WEBHOOKS_TEST_NETWORKS, settings.WEBHOOKS_TEST_CA = ["127.0.0.1/32"], str(ca)
    with receiving(tmp_path, certificate, key) as found:
        yield found


def test_from_a_round_to_a_receiver_and_its_own_check(northfield, anna, cards, receiver, tmp_path):
    """A real TLS server takes it, and the receiving program of docs/webhooks.md, as printed there, believes it."""
    with acting(anna):
        _webhook, secret = make_webhook(
            farm=northfield, new=NewWebhook(receiver.address, ["round.stored"]), by=anna, now=NOW
        )  # fmt: skip
    walk(northfield, anna, cards[0])
    now = datetime.now(UTC)
    ring(lambda *sent: post(*sent, resolver=here), now)
    (came,) = receiver.came
    text = Path(__file__).parents[2].joinpath("docs", "webhooks.md").read_text()
    program = text.partition("```python\n")[2].partition("```")[0]
    assert len([line for line in program.splitlines() if line.strip()]) <= 20
    (tmp_path / "receiving.py").write_text(program)
    judged = textwrap.dedent("""
        import json, sys
        import receiving
        given = json.load(sys.stdin)
        print(receiving.is_genuine(given["headers"], given["body"].encode()))
    """)
    for change, wanted in (("", "True"), (" ", "False")):
        given = json.dumps({"headers": came.headers, "body": came.body.decode() + change})
        done = subprocess.run(
            [sys.executable, "-c", judged], input=given, capture_output=True, text=True, cwd=tmp_path, check=True,
            env={"WEBHOOK_SECRET": secret},
        )  # fmt: skip
        assert done.stdout.strip() == wanted, done.stderr
    old = {**came.headers, "webhook-timestamp": str(int(now.timestamp()) - 600)}
    done = subprocess.run(
        [sys.executable, "-c", judged], input=json.dumps({"headers": old, "body": came.body.decode()}),
        capture_output=True, text=True, cwd=tmp_path, check=True, env={"WEBHOOK_SECRET": secret},
    )  # fmt: skip
    assert done.stdout.strip() == "False"
