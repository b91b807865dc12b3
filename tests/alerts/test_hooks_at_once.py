"""Two beats at the same moment, and a beat beside a switch-on: nothing is told twice, nothing is left out."""

from collections.abc import Callable
from datetime import timedelta
from threading import Barrier, Event, Thread
from typing import Any
from uuid import UUID

import pytest
from django.db import connections, transaction

from alerts.delivery import hooks
from alerts.models import Alert, AlertEvent, Webhook, WebhookDelivery
from alerts.models.webhook import Happening
from alerts.services import switch_webhook
from farms.models import Farm, LedgerHead, User
from tests.alerts.test_hooks import LATER, hook, walk
from tests.cast import NOW, acting, as_factory, as_role

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")
MINUTE = timedelta(minutes=1)


def at_once(*work: Callable[[], Any]) -> None:
    """Each on its own thread and connection; all begin together. Raises what one of them raised."""
    start, failures = Barrier(len(work)), []

    def run(each: Callable[[], Any]) -> None:
        try:
            start.wait(20)
            each()
        except Exception as error:  # noqa: BLE001  shown in the test's own thread
            failures.append(error)
        finally:
            connections.close_all()

    threads = [Thread(target=run, args=[each]) for each in work]
    for each in threads:
        each.start()
    for each in threads:
        each.join(60)
    assert failures == [] and not any(each.is_alive() for each in threads)


def beat() -> None:
    with as_role("worker"):
        hooks.queue_new(LATER)


def reopened(farm: Farm, number: int) -> list[UUID]:
    """So many events of one alert, each an entry further in the farm's chain."""
    with as_factory():
        alert, _new = Alert.objects.get_or_create(
            farm=farm, rule="over", method="card", defaults={"opened_week": NOW.date(), "opened_at": NOW}
        )
        head = LedgerHead.objects.select_for_update().get(farm=farm)
        made = AlertEvent.objects.bulk_create(
            AlertEvent(
                farm=farm, alert_id=alert.id, kind="reopened", week=NOW.date(), at=NOW, actor_kind="service",
                entry=head.number + step,
            )
            for step in range(1, number + 1)
        )  # fmt: skip
        LedgerHead.objects.filter(farm=farm).update(number=head.number + number)
    return [each.id for each in made]


def told() -> list[Any]:
    with as_factory():
        return list(WebhookDelivery.objects.order_by("id").values_list("webhook_id", "happening"))


def switch(webhook: Webhook, owner: User, now: Any, *, on: bool) -> None:
    with acting(owner):
        switch_webhook(webhook=webhook, on=on, by=owner, now=now)


def test_two_beats_at_the_same_moment_write_each_happening_once(northfield, anna, cards):
    made = [hook(northfield, anna, name=f"hooks{number}")[0].id for number in range(5)]
    events: list[Any] = []
    for _round in range(10):
        events += reopened(northfield, 20)
        at_once(beat, beat)
    beat()
    assert sorted(told()) == sorted((webhook_id, event) for webhook_id in made for event in events)


def test_a_beat_leaves_what_another_has_in_hand_and_takes_it_where_that_one_dies(northfield, anna, cards):
    hook(northfield, anna)
    event = reopened(northfield, 1)
    in_hand, looked = Event(), Event()

    def dies() -> None:
        with as_role("worker"):
            hooks.queue_new(LATER)
            in_hand.set()
            assert looked.wait(20)
            transaction.set_rollback(True)

    def passes_by() -> None:
        assert in_hand.wait(20)
        beat()  # doesn't wait for the other one
        looked.set()

    at_once(dies, passes_by)
    assert told() == []
    beat()
    assert [happening for _webhook, happening in told()] == event


def test_a_beat_beside_a_switch_on_tells_what_comes_after_and_nothing_from_before(northfield, anna, cards):
    webhook, _secret = hook(northfield, anna)
    switch(webhook, anna, LATER, on=False)
    reopened(northfield, 3)
    written, looked = Event(), Event()

    def switches() -> None:
        with transaction.atomic():
            switch(webhook, anna, LATER + MINUTE, on=True)
            written.set()
            assert looked.wait(20)

    def beats() -> None:
        assert written.wait(20)
        beat()
        looked.set()

    at_once(switches, beats)
    assert told() == []
    after = reopened(northfield, 2)
    beat()
    assert [happening for _webhook, happening in told()] == after


def test_beats_while_an_owner_switches_and_walks_tell_nothing_from_the_time_off(northfield, anna, cards):
    """Whatever the order: what happened while it was off is never told, what came after the last switch-on is."""
    webhook, _secret = hook(northfield, anna, [Happening.ALERT_OPENED, Happening.ROUND_STORED])
    off: list[Any] = []
    last: list[Any] = []

    def switches() -> None:
        for _again in range(8):
            switch(webhook, anna, LATER, on=False)
            off.extend(reopened(northfield, 2))
            switch(webhook, anna, LATER, on=True)
            last[:] = reopened(northfield, 2)

    def beats() -> None:
        for _again in range(30):
            beat()

    at_once(switches, beats, beats)
    walk(northfield, anna, cards[0])
    beat()
    happenings = [happening for _webhook, happening in told()]
    assert len(happenings) == len(set(happenings)) and not set(happenings) & set(off)
    assert set(last) < set(happenings)
    with as_factory():
        assert WebhookDelivery.objects.filter(kind=Happening.ROUND_STORED).count() == 1


def test_what_one_beat_writes_is_sent_in_the_chains_order(northfield, anna, cards):
    webhook, _secret = hook(northfield, anna)
    events = reopened(northfield, 60)
    # Stored in another order than it happened, as after many years of other rows.
    with as_factory():
        AlertEvent.objects.filter(id__in=events[:30]).update(at=NOW)
    beat()
    assert told() == [(webhook.id, event) for event in events]
