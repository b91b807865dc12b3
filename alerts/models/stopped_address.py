"""Addresses to which no mail goes any more, since it doesn't arrive or its reader called it unwanted."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.ids import uuid7


class StopReason(models.TextChoices):
    REFUSED = "refused", _("the mail server there refused the address")
    BOUNCED = "bounced", _("a mail came back: nobody has this address")
    COMPLAINED = "complained", _("a mail was reported as unwanted")
    LEFT = "left", _("it was asked at the mail service to send no more")


class StoppedAddress(models.Model):
    """One address of a person, from when on and why; until they say that it works again.

    Of what a mail server said the code is kept, and no word: texts of others name people and machines.
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    address = models.EmailField()
    why = models.CharField(max_length=10, choices=StopReason)
    code = models.CharField(max_length=16, blank=True, help_text="As 550 5.1.1; empty where none was told.")
    stopped_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, help_text="When its person said that it works again.")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="address_stopped_once_while_it_lasts",
                fields=["user", "address"],
                condition=models.Q(ended_at__isnull=True),
            )
        ]
