"""A webhook that is switched off and on again tells what happens from then on, and nothing that waited before."""

from datetime import datetime, timedelta

import pytest

from alerts.delivery import hooks
from alerts.delivery.hook_call import NotTakenError
from alerts.models import Webhook, WebhookDelivery
from alerts.models.webhook import HookProblem
from alerts.services import switch_webhook
from farms.models import User
from tests.alerts.test_hooks import LATER, Program, hook, ring, stored, walk
from tests.cast import acting, as_factory, as_role

pytestmark = pytest.mark.django_db
DAY, MINUTE = timedelta(days=1), timedelta(minutes=1)


def switch(webhook: Webhook, owner: User, now: datetime, *, on: bool) -> None:
    with acting(owner):
        switch_webhook(webhook=webhook, on=on, by=owner, now=now)


@pytest.fixture
def waits(northfield, anna, cards) -> Webhook:
    """A webhook for which a round waits that it didn't take."""
    webhook, _secret = hook(northfield, anna)
    walk(northfield, anna, cards[0])
    dead = Program()
    dead.failure = NotTakenError(HookProblem.SLOW)
    ring(dead)
    assert [row.state for row in stored()] == ["waiting"]
    return webhook


def test_what_waited_when_its_owner_switched_it_off_is_not_told_a_day_later(northfield, anna, cards, waits):
    program = Program()
    switch(waits, anna, LATER + MINUTE, on=False)
    switch(waits, anna, LATER + DAY, on=True)
    ring(program, LATER + DAY + MINUTE)
    assert program.came == [] and [(row.state, row.attempts) for row in stored()] == [("given_up", 1)]
    later = walk(northfield, anna, cards[1], LATER + DAY + 2 * MINUTE)
    ring(program, LATER + DAY + 3 * MINUTE)
    assert [body["data"]["id"] for _address, body, _headers in program.came] == [str(later)]


def test_what_waited_when_it_went_off_by_itself_is_not_told_when_it_is_mended(northfield, anna, cards, waits):
    with as_factory():
        Webhook.objects.update(off_at=LATER + MINUTE, off_because="failing")
    switch(waits, anna, LATER + 60 * DAY, on=True)
    program = Program()
    ring(program, LATER + 60 * DAY + MINUTE)
    assert program.came == []


def test_switched_off_and_on_in_the_middle_of_a_turn_the_rest_of_it_stays_untold(northfield, anna, cards):
    webhook, _secret = hook(northfield, anna)
    for card in cards[:3]:
        walk(northfield, anna, card)
    came = []

    def program(address: str, body: bytes, headers: dict[str, str]) -> int:
        came.append(body)
        with as_factory():
            Webhook.objects.filter(id=webhook.id).update(since=LATER + MINUTE)
        return 204

    ring(program)
    ring(program, LATER + 2 * MINUTE)
    assert len(came) == 1 and sorted(row.state for row in stored()) == ["given_up", "given_up", "taken"]


def test_a_message_in_somebodys_hand_is_left_to_the_call(northfield, anna, cards, waits):
    with as_role("worker"):
        assert hooks.claim(WebhookDelivery.objects.get(), LATER + MINUTE)
    switch(waits, anna, LATER + MINUTE, on=False)
    switch(waits, anna, LATER + MINUTE * 3 / 2, on=True)
    with as_role("worker"):
        hooks.queue_new(LATER + MINUTE * 3 / 2)
    assert [row.state for row in stored()] == ["sending"]
    with as_role("worker"):
        hooks.queue_new(LATER + MINUTE + hooks.LEASE)
    assert [row.state for row in stored()] == ["given_up"]


def test_what_happened_before_but_is_written_down_after_the_switch_is_told(northfield, anna, cards):
    """A week's run takes minutes, and what it opens bears the moment at which it began."""
    webhook, _secret = hook(northfield, anna)
    switch(webhook, anna, LATER, on=False)
    switch(webhook, anna, LATER + MINUTE, on=True)
    walk(northfield, anna, cards[0], LATER)
    program = Program()
    ring(program, LATER + 2 * MINUTE)
    assert program.types == ["round.stored"]


def test_a_farms_clock_that_is_ahead_of_ours_loses_nothing(northfield, anna, cards):
    """As the demo's may be: its clock stands still at a day of its season."""
    ahead = LATER + 30 * DAY
    webhook, _secret = hook(northfield, anna, now=ahead)
    walk(northfield, anna, cards[0], ahead)
    program = Program()
    ring(program)
    assert program.types == ["round.stored"] and webhook.since > LATER
