"""Mails waiting to be sent, and sent: the row is the queue.

A farm's digest or mid-week mail, an adviser's Monday list, a coordinator's report, a region's bulletin.
"""

from datetime import date

from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.ids import uuid7
from farms.tenancy.keys import FarmRecord

MIDWEEK = "-midweek"


def occasion_of(week: date) -> str:
    """2026-W27: what a mail is about, as ISO 8601 writes its week."""
    year, number, _day = week.isocalendar()
    return f"{year}-W{number:02d}"


def midweek_occasion_of(week: date) -> str:
    """2026-W27-midweek: what a mail is about that could not wait for the Monday after its week."""
    return occasion_of(week) + MIDWEEK


def week_of(occasion: str) -> date:
    """The Monday of the week that an occasion is about, of either kind."""
    year, number = occasion.removesuffix(MIDWEEK).split("-W")
    return date.fromisocalendar(int(year), int(number), 1)


class DeliveryState(models.TextChoices):
    QUEUED = "queued"
    SENDING = "sending"
    SENT = "sent"
    REFUSED = "refused"
    UNWANTED = "unwanted"  # its reader chose not to get it; the page shows it all the same


class Refusal(models.TextChoices):
    """Why a mail never left."""

    NO_OWNER = "no_owner", _("its reader was no longer an owner of the farm")
    NO_ADVISER = "no_adviser", _("its reader was no longer an adviser of the group")
    ROLE_ENDED = "role_ended", _("its reader was no longer a coordinator of the group")
    NO_REGION = "no_region", _("its reader may no longer see the region's reports")
    WITHDREW = "withdrew", _("a farm on this list had withdrawn its consent since it was written")
    STOPPED = "stopped", _("mails to this address don't arrive, so none is sent there")
    ADDRESS = "address", _("the mail server there refused the address")
    MAIL = "mail", _("the mail server refused this mail, not the address")


class Delivery(models.Model):
    """A rendered mail to one recipient on one occasion, and how far it got.

    The occasion is an ISO week as 2026-W27, or 2026-W27-midweek for what could not wait for the Monday after it.
    """

    recipient = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    occasion = models.CharField(max_length=20)
    language = models.CharField(max_length=5)
    subject = models.CharField(max_length=200)
    text = models.TextField()
    html = models.TextField()
    picture = models.BinaryField(null=True)
    picture_text = models.TextField(blank=True, default="")
    # Whether something in it needs a look: over its level, rising, or overdue. Some readers want those mails only.
    needs_a_look = models.BooleanField(default=True, db_default=True)
    queued_at = models.DateTimeField()
    state = models.CharField(max_length=8, choices=DeliveryState, default=DeliveryState.QUEUED)
    lease_until = models.DateTimeField(null=True)
    attempts = models.IntegerField(default=0)
    next_try_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True)
    reason = models.CharField(max_length=10, choices=Refusal, blank=True, default="", db_default="")
    # For whoever runs the service: an error's kind and code. Nothing of what another machine wrote.
    error = models.TextField(blank=True, default="")

    class Meta:
        abstract = True


def _due(name: str) -> models.Index:
    # Reader: alerts.delivery.due(), which asks for what is waiting or whose lease ran out.
    return models.Index(
        name=name, fields=["next_try_at"], condition=models.Q(state__in=[DeliveryState.QUEUED, DeliveryState.SENDING])
    )


class Digest(Delivery, FarmRecord):
    """A farm's weekly mail to one of its people; those of one person and occasion go out as one message.

    `headline` is the subject without its week; the farm with the highest `pressing` comes first.
    """

    headline = models.CharField(max_length=200, blank=True, default="")
    pressing = models.PositiveSmallIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(name="digest_once_an_occasion", fields=["farm", "recipient", "occasion"])
        ]
        indexes = [_due("digest_due")]


class MondayList(Delivery):
    """An adviser's list of the farms to call first. Seen by nobody but the adviser."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey("farms.Group", on_delete=models.PROTECT, related_name="+")
    # What it tells of: it is shown while its adviser may see all of them. Unknown of lists from before the column.
    farm_ids = ArrayField(models.UUIDField(), null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(name="monday_list_once_an_occasion", fields=["group", "recipient", "occasion"])
        ]
        indexes = [_due("monday_list_due")]


class CoordinatorReport(Delivery):
    """A coordinator's report of a week: numbers a region and no farm. Seen by nobody but the coordinator."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey("farms.Group", on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="coordinator_report_once_an_occasion", fields=["group", "recipient", "occasion"]
            )
        ]
        indexes = [_due("coordinator_report_due")]


class RegionBulletin(Delivery):
    """A region's published week to somebody who asked for it: what anybody who may see the region reads on its page."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey("farms.Group", on_delete=models.PROTECT, related_name="+")
    region = models.ForeignKey("farms.Region", on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(name="region_bulletin_once_an_occasion", fields=["region", "recipient", "occasion"])
        ]
        indexes = [_due("region_bulletin_due")]


# What the outbox holds: rows of any of its tables.
Mail = Digest | MondayList | CoordinatorReport | RegionBulletin
TABLES: tuple[type[Mail], ...] = (Digest, MondayList, CoordinatorReport, RegionBulletin)
