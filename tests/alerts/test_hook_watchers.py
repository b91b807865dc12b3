"""Who watches the service hears that nobody calls webhooks any more, and not that an address is dead."""

from datetime import datetime, timedelta

import pytest

from alerts.checks.running import note_running
from alerts.delivery import hooks
from alerts.delivery.hook_call import NotTakenError
from alerts.models import Running, Webhook, WebhookDelivery
from alerts.models.webhook import HookProblem
from farms.models import Farm
from tests.alerts.test_hooks import Program, hook, ring, southmead_card, walk
from tests.cast import NOW, acting, as_factory, as_role

pytestmark = pytest.mark.django_db
HOUR, MINUTE, SECOND = timedelta(hours=1), timedelta(minutes=1), timedelta(seconds=1)


class TestTheWatchers:
    """`flyround_webhook_oldest_seconds` (docs/running.md): it grows where nobody calls, whatever addresses fail."""

    def note(self, now: datetime) -> Running:
        with as_role("worker"):
            (row,) = note_running(now)
        return row

    @pytest.fixture
    def failing(self, northfield: Farm, anna, cards) -> Webhook:
        """A webhook of Northfield whose program has failed since an hour before."""
        webhook, _secret = hook(northfield, anna, name="dead", now=NOW - HOUR)
        walk(northfield, anna, cards[0], NOW - HOUR)
        program = Program()
        program.failure = NotTakenError(HookProblem.SLOW)
        for minute in range(0, 61, 5):
            ring(program, NOW - HOUR + minute * MINUTE)
        return webhook

    def test_a_failing_one_does_not_hide_that_a_healthy_one_waits(self, failing, southmead, carla):
        hook(southmead, carla)
        with as_factory():
            card = southmead_card(southmead)
        walk(southmead, carla, card)
        with as_role("worker"):
            hooks.queue_new(NOW)
        row = self.note(NOW + MINUTE)
        assert (row.hooks, row.hooks_failing, row.oldest_hook_at) == (2, 1, NOW)

    def test_while_it_is_called_a_failing_one_alone_waits_for_nothing(self, failing):
        assert self.note(NOW + SECOND).oldest_hook_at is None

    def test_where_nobody_calls_any_more_the_failing_one_tells_it_too(self, failing):
        with as_factory():
            paused = max(Webhook.objects.get().quiet_until, WebhookDelivery.objects.get().next_try_at)
        assert self.note(NOW + 12 * HOUR).oldest_hook_at == paused < NOW + 3 * HOUR

    def test_an_old_message_put_off_for_hours_is_not_late_once_its_webhook_works_again(self, failing, anna, northfield):
        with as_factory():
            Webhook.objects.update(failures=0, failing_since=None, quiet_until=None)
            WebhookDelivery.objects.update(next_try_at=NOW + 5 * HOUR)
        assert self.note(NOW + 3 * HOUR).oldest_hook_at is None
        with acting(anna):
            assert WebhookDelivery.objects.count() == 1
