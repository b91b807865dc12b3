"""Addresses that programs of a farm are rung at when something happened, and what waits to be sent there."""

from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.tenancy.keys import FarmRecord, inside_farm


class Happening(models.TextChoices):
    """Few, and each something to act on or to read anew: a matter came, a matter went, results, counts."""

    ALERT_OPENED = "alert.opened", _("an open matter came, or came again")
    ALERT_CLOSED = "alert.closed", _("an open matter ended")
    WEEK_JUDGED = "week.judged", _("a week was judged")
    ROUND_STORED = "round.stored", _("a round was stored")


class HookProblem(models.TextChoices):
    """Why the other side didn't take it. Nothing of what it answered."""

    FORBIDDEN = "forbidden", _("the address leads into a private network, where nothing is sent")
    NO_NAME = "no_name", _("the name of the address can't be found")
    NO_CONNECTION = "no_connection", _("no connection")
    CERTIFICATE = "certificate", _("the certificate there doesn't hold")
    SLOW = "slow", _("no answer within ten seconds")
    NO_ANSWER = "no_answer", _("the connection broke off")
    MOVED = "moved", _("it sends on to another address, which is not followed")
    STATUS = "status", _("it answered with an error")


class OffBecause(models.TextChoices):
    CHOSEN = "chosen", _("switched off by an owner")
    GONE = "gone", _("it said that it wants nothing any more (410)")
    FAILING = "failing", _("nothing got through for three days")


class Webhook(FarmRecord):
    """An address, and what is told there. From entry `mark` of the farm's chain on, and from the moment `since`.

    Whatever the worker notes of it stands in the second half.
    """

    address = models.CharField(_("address"), max_length=500)
    kinds = ArrayField(models.CharField(max_length=20, choices=Happening))
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)
    since = models.DateTimeField()
    mark = models.BigIntegerField()
    off_at = models.DateTimeField(null=True)
    off_because = models.CharField(max_length=8, choices=OffBecause, blank=True, default="")

    failures = models.IntegerField(default=0, help_text="In a row.")
    failing_since = models.DateTimeField(null=True)
    quiet_until = models.DateTimeField(null=True)
    problem = models.CharField(max_length=13, choices=HookProblem, blank=True, default="")
    status = models.SmallIntegerField(null=True)
    sent_at = models.DateTimeField(null=True)

    class Meta:
        # Reader: alerts.delivery.hooks, which asks for what is switched on.
        indexes = [
            models.Index(
                name="webhook_on", fields=["farm"], condition=models.Q(ended_at__isnull=True, off_at__isnull=True)
            )
        ]

    @property
    def is_on(self) -> bool:
        return self.ended_at is None and self.off_at is None


class WebhookSecret(FarmRecord):
    """What a webhook's messages are signed with: written by the pages, which can't read it; read by the worker."""

    webhook_id = models.UUIDField()
    webhook = inside_farm("alerts.Webhook", "webhook_id")
    key = models.BinaryField(max_length=32)

    class Meta:
        constraints = [models.UniqueConstraint(name="webhook_has_one_secret", fields=["farm", "webhook_id"])]


class HookState(models.TextChoices):
    WAITING = "waiting", _("waiting")
    SENDING = "sending", _("being sent")
    TAKEN = "taken", _("taken")
    GIVEN_UP = "given_up", _("given up")


class WebhookDelivery(FarmRecord):
    """One happening for one webhook: the row is the queue. `happening` is the id of the row that tells of it."""

    webhook_id = models.UUIDField()
    webhook = inside_farm("alerts.Webhook", "webhook_id")
    kind = models.CharField(max_length=20, choices=Happening)
    happening = models.UUIDField()
    subject = models.UUIDField(null=True, help_text="The alert or the round; none for a week or a file.")
    week = models.DateField(null=True)
    happened_at = models.DateTimeField()
    queued_at = models.DateTimeField()
    state = models.CharField(max_length=8, choices=HookState, default=HookState.WAITING)
    lease_until = models.DateTimeField(null=True)
    attempts = models.IntegerField(default=0)
    next_try_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)
    problem = models.CharField(max_length=13, choices=HookProblem, blank=True, default="")
    status = models.SmallIntegerField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(name="webhook_told_once_of_a_happening", fields=["farm", "webhook_id", "happening"])
        ]
        # Reader: alerts.delivery.hooks, which asks for what waits or whose lease ran out.
        indexes = [
            models.Index(
                name="webhook_delivery_due",
                fields=["next_try_at"],
                condition=models.Q(state__in=[HookState.WAITING, HookState.SENDING]),
            )
        ]
