"""Slow receivers of webhooks take turns with all others, however many there are.

Time is virtual: a turn of some calls at nine seconds each is over at once, and the rings are heard as docs/running.md
has it: two processes, a ring lost after half a minute.
"""

from datetime import datetime, timedelta
from types import SimpleNamespace

import pytest

from alerts.delivery import hooks
from alerts.models import Webhook
from tests.alerts.test_hooks import LATER, alert_events, hook, southmead_card, walk
from tests.cast import as_factory, as_role

pytestmark = pytest.mark.django_db
HOUR, MINUTE, SECOND = timedelta(hours=1), timedelta(minutes=1), timedelta(seconds=1)
PROCESSES, CALL = 2, 9.0


class Line:
    """Every address answers after nine seconds; the seconds of a turn go by as it is called."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.seconds, self.called = 0.0, []
        monkeypatch.setattr(hooks, "time", SimpleNamespace(monotonic=lambda: self.seconds))

    def __call__(self, address: str, body: bytes, headers: dict[str, str]) -> int:
        self.seconds += CALL
        self.called.append(address)
        return 204


def heard(line: Line, now: datetime) -> None:
    """One ring: each process has a turn that ends at 27 seconds and one more that begins in time; the rest is lost."""
    with as_role("worker"):
        hooks.queue_new(now)
        for number, webhook in enumerate(hooks.webhooks_due(now)[: 2 * PROCESSES]):
            hooks.send_due(*webhook, now + number // PROCESSES * 27 * SECOND, call=line)


def test_slow_receivers_of_old_farms_starve_nobody(northfield, southmead, anna, carla, monkeypatch):
    for number in range(5):
        hook(northfield, anna, name=f"slow{number}")
    alert_events(northfield, 30)
    hook(southmead, carla, name="quick")
    line, now = Line(monkeypatch), LATER
    with as_factory():
        card = southmead_card(southmead)
    walk(southmead, carla, card)
    for _ring in range(2):
        heard(line, now)
        now += 54 * SECOND
    assert "https://quick.example.org/in" in line.called
    # And each of the slow ones has a turn in every second ring at least: three calls.
    for _ring in range(8):
        heard(line, now)
        now += 54 * SECOND
    calls = [line.called.count(f"https://slow{number}.example.org/in") for number in range(5)]
    assert min(calls) >= 15 and sum(calls) > 100


def test_who_was_called_longest_ago_comes_first_and_who_never_was_before_all(northfield, anna, cards):
    names = {name: hook(northfield, anna, name=name)[0].id for name in ("lately", "long-ago", "in-quiet", "never")}
    walk(northfield, anna, cards[0])
    with as_factory():
        for name, columns in {
            "lately": {"sent_at": LATER - MINUTE},
            "long-ago": {"sent_at": LATER - HOUR},
            "in-quiet": {"sent_at": LATER - 2 * HOUR, "quiet_until": LATER - 2 * MINUTE},
        }.items():
            Webhook.objects.filter(id=names[name]).update(**columns)
    with as_role("worker"):
        hooks.queue_new(LATER)
        due = [webhook_id for _farm, webhook_id in hooks.webhooks_due(LATER)]
    assert due == [names[name] for name in ("never", "long-ago", "in-quiet", "lately")]


def test_a_ring_names_no_more_than_can_be_called(northfield, anna, cards, monkeypatch):
    for number in range(4):
        hook(northfield, anna, name=f"hooks{number}")
    walk(northfield, anna, cards[0])
    monkeypatch.setattr(hooks, "MOST_RUNG", 3)
    with as_role("worker"):
        hooks.queue_new(LATER)
        assert len(hooks.webhooks_due(LATER)) == 3
