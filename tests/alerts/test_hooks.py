"""Webhooks: what happened is told once, signed, tried again for three days, and never to another farm's program."""

import base64
import hashlib
import hmac
import json
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

import pytest
from django.db import transaction

from alerts.delivery import hooks
from alerts.delivery.hook_call import NotTakenError
from alerts.delivery.hook_signature import key_of, signature
from alerts.models import Alert, AlertEvent, CheckRun, Webhook, WebhookDelivery, WebhookSecret
from alerts.models.webhook import Happening, HookProblem
from alerts.pauses import pause_after
from alerts.services import NewWebhook, end_webhook, make_webhook, switch_webhook
from farms.ids import uuid7
from farms.ledger import Actor
from farms.models import Farm, Group, LedgerHead, User
from monitoring.models import Station
from monitoring.services import HungSent, RoundSent, record_round
from tests.alerts.scene import check, count_week, monday
from tests.cast import NOW, acting, as_factory, as_role
from tests.full import FULL

pytestmark = pytest.mark.django_db
ALL = tuple(Happening.values)
LATER = NOW + timedelta(minutes=1)


class Program:
    """The other side: what it was sent, and what it answers."""

    def __init__(self) -> None:
        self.came: list[tuple[str, dict[str, Any], dict[str, str]]] = []
        self.failure: NotTakenError | None = None

    def __call__(self, address: str, body: bytes, headers: dict[str, str]) -> int:
        if self.failure is not None:
            raise self.failure
        self.came.append((address, json.loads(body), headers))
        return 204

    @property
    def types(self) -> list[str]:
        return sorted(body["type"] for _address, body, _headers in self.came)


@pytest.fixture
def program() -> Program:
    return Program()


def hook(farm: Farm, owner: User, kinds: Any = ALL, name: str = "hooks", now: datetime = NOW) -> tuple[Webhook, str]:
    with acting(owner):
        return make_webhook(
            farm=farm, new=NewWebhook(f"https://{name}.example.org/in", kinds), by=owner, now=now
        )  # fmt: skip


def walk(farm: Farm, owner: User, station: Any, now: datetime = NOW) -> UUID:
    """A round that hangs one card; its id."""
    sent = RoundSent(uuid7(), now.date(), "form", hung=(HungSent(uuid7(), station.id, now.date()),))
    with acting(owner):
        return record_round(farm=farm, sent=sent, actor=Actor("farm_staff", owner.id), now=now).id


def ring(program: Any, now: datetime = LATER) -> None:
    """What the bell does, in one process."""
    with as_role("worker"):
        hooks.queue_new(now)
        for farm_id, webhook_id in hooks.webhooks_due(now):
            hooks.send_due(farm_id, webhook_id, now, call=program)


def stored(model: Any = WebhookDelivery) -> list[Any]:
    with as_factory():
        return list(model.objects.order_by("id"))


# --- the signature ---------------------------------------------------------------------------------------------------


def test_the_published_example_of_the_specification():
    """Standard Webhooks 1.0.0, the example of its reference libraries' tests ("sign function works")."""
    key = key_of("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
    made = signature(key, "msg_p5jXN8AQM9LWM0D4loKWxJek", 1614265330, b'{"test": 2432232314}')
    assert made == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


def test_what_is_sent_is_verified_by_the_standard_library_alone(northfield, anna, cards, program):
    _webhook, secret = hook(northfield, anna)
    walk(northfield, anna, cards[0])
    bodies = []
    ring(lambda address, body, headers: bodies.append((body, headers)) or 200)
    ((body, headers),) = bodies
    key = base64.b64decode(secret.removeprefix("whsec_"))
    assert 24 <= len(key) <= 64  # as the specification wants it
    signed = b".".join([headers["webhook-id"].encode(), headers["webhook-timestamp"].encode(), body])
    wanted = base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()
    assert headers["webhook-signature"] == f"v1,{wanted}"
    assert int(headers["webhook-timestamp"]) == int(LATER.timestamp())


# --- what is told ----------------------------------------------------------------------------------------------------


def test_a_round_is_told_with_ids_and_where_to_read_it(northfield, anna, cards, program, settings):
    hook(northfield, anna)
    walked = walk(northfield, anna, cards[0])
    ring(program)
    ((address, body, _headers),) = program.came
    assert address == "https://hooks.example.org/in"
    assert body == {
        "type": "round.stored",
        "timestamp": "2026-06-01T12:00:00Z",
        "data": {
            "farm_id": str(northfield.id),
            "id": str(walked),
            "url": f"{settings.SITE_URL}/api/v1/farms/{northfield.id}/rounds/{walked}",
        },
    }
    ring(program, LATER + timedelta(minutes=1))
    assert len(program.came) == 1


def test_a_week_and_what_opened_and_closed_in_it(group, northfield, anna, cards, program):
    """No name and no count of the farm stands in any of it."""
    hook(northfield, anna, now=NOW - timedelta(days=60))
    count_week(cards, monday(5), [130, 140, 150, 160, 170])
    check(group, monday(5))
    ring(program)
    assert {"alert.opened", "week.judged"} <= set(program.types)
    for week in (6, 7):
        count_week(cards, monday(week), [3, 4, 5, 6, 7])
        check(group, monday(week))
    ring(program)
    assert program.types.count("week.judged") == 3 and "alert.closed" in program.types
    told = json.dumps([body for _address, body, _headers in program.came])
    assert not any(word in told for word in ("Northfield", "Anna", "Calf", "card", "over", "130", "150"))
    weeks = [body["data"]["week"] for _a, body, _h in program.came if body["type"] == "week.judged"]
    assert sorted(weeks) == [monday(week).isoformat() for week in (5, 6, 7)]


def test_only_what_was_chosen_and_only_what_happens_after(group, northfield, anna, cards, program):
    walk(northfield, anna, cards[0])
    hook(northfield, anna, [Happening.ALERT_OPENED])
    walk(northfield, anna, cards[1])
    ring(program)
    assert program.came == [] and stored() == []


def test_a_farm_closed_to_visits_never_shows(northfield, anna, dana, cards, program):
    """Neither closing nor opening, neither a planned visit nor what was told makes a message or changes one."""
    from farms import services

    hook(northfield, anna)
    with acting(anna):
        services.close_farm(farm=northfield, from_on=NOW.date(), by=anna, now=NOW)
    ring(program)
    assert program.came == []
    walk(northfield, anna, cards[0])
    ring(program)
    assert set(program.came[0][1]["data"]) == {"farm_id", "id", "url"}


# --- whose -----------------------------------------------------------------------------------------------------------


def test_another_farms_happenings_never_go_out(northfield, southmead, anna, carla, cards, monkeypatch):
    """Two farms, three webhooks, many times what is read at once: each receiver gets its own, all, once."""
    number = 3 * hooks.AT_ONCE if FULL else 150
    monkeypatch.setattr(hooks, "AT_ONCE", number // 3)
    with as_factory():
        other_card = southmead_card(southmead)
    mine, _secret = hook(northfield, anna, name="north")
    hook(northfield, anna, [Happening.ALERT_OPENED], name="north-too")
    theirs, _secret = hook(southmead, carla, name="south")
    walk(northfield, anna, cards[0])
    walk(southmead, carla, other_card)
    many = {farm.id: alert_events(farm, number) for farm in (northfield, southmead)}
    came: list[tuple[str, str, str]] = []

    def program(address: str, body: bytes, headers: dict[str, str]) -> int:
        came.append((address, json.loads(body)["data"]["farm_id"], headers["webhook-id"]))
        return 204

    for _ring in range(20):
        ring(program)
    assert {(address, farm_id) for address, farm_id, _id in came} == {
        ("https://north.example.org/in", str(northfield.id)),
        ("https://north-too.example.org/in", str(northfield.id)),
        ("https://south.example.org/in", str(southmead.id)),
    }
    assert len(came) == len({message for *_rest, message in came}) == 3 * number + 2
    told = {row.happening for row in stored() if row.webhook_id == theirs.id}
    assert set(many[southmead.id]) <= told and not set(many[northfield.id]) & told
    assert mine.id != theirs.id


def southmead_card(farm: Farm) -> Any:
    return Station.objects.filter(farm=farm, method="card").first()


def alert_events(farm: Farm, number: int) -> list[UUID]:
    """Openings of one alert, each an entry further in the chain; as the factory."""
    with as_factory():
        alert = Alert.objects.create(farm=farm, rule="over", method="card", opened_week=NOW.date(), opened_at=NOW)
        head = LedgerHead.objects.get(farm=farm).number
        made = AlertEvent.objects.bulk_create(
            AlertEvent(
                farm=farm, alert_id=alert.id, kind="reopened", week=NOW.date(), at=NOW, actor_kind="service",
                entry=head + step,
            )
            for step in range(1, number + 1)
        )  # fmt: skip
        LedgerHead.objects.filter(farm=farm).update(number=head + number)
    return [each.id for each in made]


def test_nobody_reads_a_secret_in_the_apps_role(northfield, anna):
    from django.db import ProgrammingError

    hook(northfield, anna)
    with acting(anna), pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
        list(WebhookSecret.objects.all())


def test_carla_sees_none_of_it_in_the_database(northfield, anna, carla, cards, program):
    webhook, _secret = hook(northfield, anna)
    walk(northfield, anna, cards[0])
    ring(program)
    with acting(carla):
        assert not Webhook.objects.exists() and not WebhookDelivery.objects.exists()
        assert Webhook.objects.filter(id=webhook.id).update(ended_at=NOW) == 0
    with acting(anna):
        assert Webhook.objects.count() == WebhookDelivery.objects.count() == 1


# --- again -----------------------------------------------------------------------------------------------------------


def test_a_worker_that_dies_loses_nothing_and_sends_under_the_same_id(northfield, anna, cards, program):
    hook(northfield, anna)
    walk(northfield, anna, cards[0])

    def dies(address: str, body: bytes, headers: dict[str, str]) -> int:
        seen.append(headers["webhook-id"])
        raise KeyboardInterrupt

    seen: list[str] = []
    with as_role("worker"):
        hooks.queue_new(LATER)
        (webhook,) = hooks.webhooks_due(LATER)
        with pytest.raises(KeyboardInterrupt):
            hooks.send_due(*webhook, LATER, call=dies)
    ring(program, LATER + timedelta(seconds=90))
    assert program.came == []
    ring(program, LATER + hooks.LEASE)
    assert [headers["webhook-id"] for *_rest, headers in program.came] == seen


def test_two_workers_take_a_message_once(northfield, anna, cards):
    hook(northfield, anna)
    walk(northfield, anna, cards[0])
    with as_role("worker"):
        hooks.queue_new(LATER)
        first, second = WebhookDelivery.objects.get(), WebhookDelivery.objects.get()
        assert hooks.claim(first, LATER) and not hooks.claim(second, LATER)


def test_pauses_double_from_half_a_minute_to_six_hours():
    minutes = [pause_after(n, hooks.FIRST_PAUSE, hooks.LONGEST_PAUSE) / timedelta(minutes=1) for n in range(1, 14)]
    assert minutes == [0.5, 1, 2, 4, 8, 16, 32, 64, 128, 256, 360, 360, 360]


def test_it_is_tried_for_three_days_then_given_up_and_the_webhook_goes_off(northfield, anna, cards, program):
    hook(northfield, anna)
    walk(northfield, anna, cards[0])
    program.failure = NotTakenError(HookProblem.STATUS, 503)
    now, tries = LATER, 0
    while now < LATER + timedelta(days=4):
        before = stored()[0].attempts if stored() else 0
        ring(program, now)
        tries += stored()[0].attempts - before
        now += timedelta(minutes=5) if tries < 9 else timedelta(hours=1)
    (delivery,), (webhook,) = stored(), stored(Webhook)
    assert delivery.state == "given_up" and 15 <= tries <= 30
    assert timedelta(days=3) <= delivery.ended_at - delivery.queued_at < timedelta(days=3, hours=8)
    assert (webhook.off_because, webhook.problem, webhook.status) == ("failing", "status", 503)
    walk(northfield, anna, cards[1])
    ring(program, now)
    assert len(stored()) == 1


def test_some_failures_in_a_row_switch_nothing_off_within_three_days(northfield, anna, cards, program):
    hook(northfield, anna)
    for card in cards:
        walk(northfield, anna, card)
    program.failure = NotTakenError(HookProblem.SLOW)
    for minute in range(0, 600, 5):
        ring(program, LATER + timedelta(minutes=minute))
    (webhook,) = stored(Webhook)
    assert webhook.is_on and webhook.failures >= 10
    program.failure = None
    ring(program, LATER + timedelta(hours=20))
    (webhook,) = stored(Webhook)
    assert webhook.failures == 0 and webhook.problem == "" and program.types == ["round.stored"] * 5


def test_410_switches_it_off_at_once(northfield, anna, cards, program):
    hook(northfield, anna)
    for card in cards[:2]:
        walk(northfield, anna, card)
    program.failure = NotTakenError(HookProblem.STATUS, 410)
    ring(program)
    (webhook,) = stored(Webhook)
    assert (webhook.off_because, webhook.failures) == ("gone", 1)
    with as_role("worker"):
        assert hooks.webhooks_due(LATER + timedelta(days=1)) == []


def test_off_it_gets_nothing_on_again_what_happens_from_then_on(northfield, anna, cards, program):
    webhook, _secret = hook(northfield, anna)
    with acting(anna):
        switch_webhook(webhook=webhook, on=False, by=anna, now=NOW)
    walk(northfield, anna, cards[0])
    ring(program)
    with acting(anna):
        assert switch_webhook(webhook=webhook, on=True, by=anna, now=LATER).is_on
    ring(program)
    assert program.came == []
    later = walk(northfield, anna, cards[1])
    ring(program)
    assert [body["data"]["id"] for _a, body, _h in program.came] == [str(later)]
    with acting(anna):
        end_webhook(webhook=webhook, by=anna, now=LATER)
    walk(northfield, anna, cards[2])
    ring(program)
    assert len(program.came) == 1


def test_switched_off_in_the_middle_of_a_turn_nothing_more_goes_out(northfield, anna, cards):
    webhook, _secret = hook(northfield, anna)
    for card in cards:
        walk(northfield, anna, card)
    came = []

    def program(address: str, body: bytes, headers: dict[str, str]) -> int:
        came.append(body)
        with as_factory():
            Webhook.objects.filter(id=webhook.id).update(off_at=LATER)
        return 204

    ring(program)
    assert len(came) == 1


def test_an_address_that_fails_is_tried_with_one_message_at_a_time(northfield, anna, cards):
    """However much waits, a dead address costs a worker one call a turn."""
    hook(northfield, anna)
    for card in cards:
        walk(northfield, anna, card)
    calls = []

    def program(address: str, body: bytes, headers: dict[str, str]) -> int:
        calls.append(address)
        raise NotTakenError(HookProblem.SLOW)

    ring(program)
    ring(program, LATER + timedelta(seconds=5))
    assert len(calls) == 1


def test_a_week_judged_again_is_not_told_again(group, northfield, anna, cards, program):
    hook(northfield, anna, [Happening.WEEK_JUDGED], now=NOW - timedelta(days=60))
    count_week(cards, monday(7), [130, 140, 150, 160, 170])
    check(group, monday(7))
    for _again in range(2):
        ring(program)
    assert program.types == ["week.judged"]
    with as_factory():
        assert CheckRun.objects.get().state == "done"


def test_how_much_waits_is_counted_for_the_watchers(group: Group, northfield, anna, cards, program):
    from alerts.checks.running import note_running

    hook(northfield, anna)
    walk(northfield, anna, cards[0])
    program.failure = NotTakenError(HookProblem.SLOW)
    ring(program)
    with as_role("worker"):
        (row,) = note_running(LATER)
    assert (row.hooks, row.oldest_hook_at, row.hooks_failing) == (1, None, 1)
