"""Text messages: a person's telephone number, and what was sent there. The number stands in one row, to be deleted."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from alerts.models.outbox import DeliveryState
from farms.ids import uuid7


class TextNumber(models.Model):
    """The number to which a person wants text messages, from when they typed the code that came there.

    Seen by nobody but that person. Taken away, the row is deleted, and the number is nowhere else.
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    user = models.OneToOneField(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    number = models.CharField(_("number"), max_length=16, help_text="As ITU-T E.164 writes it: + and digits.")
    asked_at = models.DateTimeField()
    confirmed_at = models.DateTimeField(null=True)
    stopped_at = models.DateTimeField(null=True, help_text="When the text message service said it takes none.")


class TextState(models.TextChoices):
    """As a mail's (alerts/models/outbox.py), so that both are asked alike for what is due, and one more."""

    QUEUED = DeliveryState.QUEUED.value
    SENDING = DeliveryState.SENDING.value
    SENT = DeliveryState.SENT.value
    REFUSED = DeliveryState.REFUSED.value
    LATE = "late"  # it could not be sent while it was news
    UNWANTED = DeliveryState.UNWANTED.value  # its reader took the number away, or is no owner any more


class TextMessage(models.Model):
    """A message to one person on one occasion, and how far it got. What it says is fixed; no number stands in it.

    The occasion is one of the mails' (alerts/models/outbox.py), or `code-` and the second in which one was asked for.
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    recipient = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    occasion = models.CharField(max_length=20)
    # Whose day and night it keeps to; empty for a code, which somebody waits for.
    time_zone = models.CharField(max_length=64, blank=True, default="")
    queued_at = models.DateTimeField()
    state = models.CharField(max_length=8, choices=TextState, default=TextState.QUEUED)
    lease_until = models.DateTimeField(null=True)
    attempts = models.IntegerField(default=0)
    next_try_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True)
    # For whoever runs the service: an error's kind or a status. Nothing of what another machine wrote.
    error = models.CharField(max_length=60, blank=True, default="")

    class Meta:
        constraints = [
            models.UniqueConstraint(name="text_message_once_an_occasion", fields=["recipient", "occasion"]),
        ]
        indexes = [
            # Reader: alerts.delivery.text_messages.due().
            models.Index(
                name="text_message_due",
                fields=["next_try_at"],
                condition=models.Q(state__in=[TextState.QUEUED, TextState.SENDING]),
            )
        ]
