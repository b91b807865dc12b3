"""An owner has a program of the farm rung at an address, switches that off and on, and takes it away."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from alerts.models import Webhook, WebhookSecret
from alerts.models.webhook import Happening, OffBecause
from alerts.outbound import checked
from alerts.selectors.webhooks import webhooks_of
from farms.access import actor_on
from farms.credentials import new_hook_secret
from farms.errors import Conflict, Invalid
from farms.ledger import lock_heads
from farms.services import LogKind, note_in_log

if TYPE_CHECKING:
    from farms.models import Farm, User

MOST = 5


class WebhookKindsUnknown(Invalid):
    code = "webhook_kinds_unknown"
    message = _("Choose one or more of: {kinds}.")


class TooManyWebhooks(Conflict):
    code = "too_many_webhooks"
    message = _("A farm has five webhooks at most. Take one away first.")


@dataclass(frozen=True)
class NewWebhook:
    """Which address is rung, and for what."""

    address: str
    kinds: Sequence[str]


@transaction.atomic
def make_webhook(*, farm: "Farm", new: NewWebhook, by: "User", now: datetime) -> tuple[Webhook, str]:
    """A webhook for what happens from now on: the row, and its secret, which is told here and never again.

    Raises WebhookAddressWrong, WebhookKindsUnknown or TooManyWebhooks.
    """
    checked(new.address)
    kinds = [kind for kind in Happening.values if kind in new.kinds]
    if not kinds or set(new.kinds) - set(kinds):
        raise WebhookKindsUnknown(pointer="/kinds", kinds=", ".join(Happening.values))
    head = lock_heads([farm.id])[farm.id]
    if webhooks_of(farm).count() >= MOST:
        raise TooManyWebhooks()
    webhook = Webhook.objects.create(
        farm=farm, address=new.address, kinds=kinds, made_by=by, made_at=now, since=now, mark=head.number
    )
    secret, key = new_hook_secret()
    WebhookSecret.objects.create(farm=farm, webhook_id=webhook.id, key=key)
    _note(webhook, LogKind.WEBHOOK_MADE, by, now)
    return webhook, secret


@transaction.atomic
def switch_webhook(*, webhook: Webhook, on: bool, by: "User", now: datetime) -> Webhook:
    """Switch a webhook off or on; once more changes nothing. On, it tells of what happens from then on."""
    head = lock_heads([webhook.farm_id])[webhook.farm_id]
    rows = Webhook.objects.filter(farm_id=webhook.farm_id, id=webhook.id, ended_at__isnull=True, off_at__isnull=not on)
    if on:
        changed = rows.update(
            off_at=None, off_because="", since=now, mark=head.number, failures=0, failing_since=None, quiet_until=None
        )
    else:
        changed = rows.update(off_at=now, off_because=OffBecause.CHOSEN)
    if changed:
        _note(webhook, LogKind.WEBHOOK_CHANGED, by, now)
    webhook.refresh_from_db()
    return webhook


@transaction.atomic
def end_webhook(*, webhook: Webhook, by: "User", now: datetime) -> None:
    """Take a webhook away: nothing is sent there any more, what waits neither. A second time changes nothing."""
    if Webhook.objects.filter(farm_id=webhook.farm_id, id=webhook.id, ended_at__isnull=True).update(ended_at=now):
        _note(webhook, LogKind.WEBHOOK_ENDED, by, now)


def _note(webhook: Webhook, kind: LogKind, by: "User", now: datetime) -> None:
    """Told is the name in the address alone: what stands behind it may be a secret of the receiver's."""
    host = urlsplit(webhook.address).hostname or ""
    note_in_log(farm=webhook.farm, kind=kind, actor=actor_on(by, webhook.farm_id), now=now, about=host)
