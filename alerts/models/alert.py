"""Open matters with a beginning and an end, and their history."""

from django.db import models
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from farms.models.chain import ActorKind
from farms.tenancy.keys import FarmRecord, inside_farm


class Rule(models.TextChoices):
    OVER = "over", _("over the action level")
    RISING = "rising", _("rising")
    OVERDUE = "overdue", _("round overdue")


class ClosedBecause(models.TextChoices):
    BACK_BELOW = "back_below", _("back below the action level")
    NO_LONGER_RISING = "no_longer_rising", _("no longer rising")
    COUNTED_AGAIN = "counted_again", _("counted again")
    SKIPPED_AHEAD = "skipped_ahead", _("a round was skipped ahead")
    CORRECTED = "corrected", _("a count was corrected")
    SEASON_CLOSED = "season_closed", _("season closed")


class Alert(FarmRecord):
    """One episode of one rule on a farm or facility. Its history is in AlertEvent."""

    facility_id = models.UUIDField(null=True)
    facility = inside_farm("farms.Facility", "facility_id", null=True)
    method = models.CharField(max_length=8, blank=True, default="")
    rule = models.CharField(max_length=8, choices=Rule)
    episode = models.PositiveSmallIntegerField(default=1)
    opened_week = models.DateField()
    opened_at = models.DateTimeField()
    closed_week = models.DateField(null=True)
    closed_at = models.DateTimeField(null=True)
    closed_because = models.CharField(max_length=16, choices=ClosedBecause, blank=True, default="")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="alert_once_an_episode",
                fields=["farm", "facility_id", "method", "rule", "episode"],
                nulls_distinct=False,
            ),
            models.UniqueConstraint(
                name="alert_open_once",
                fields=["farm", "facility_id", "method", "rule"],
                condition=models.Q(closed_at__isnull=True),
                nulls_distinct=False,
            ),
        ]


class EventKind(models.TextChoices):
    OPENED = "opened", pgettext_lazy("alert", "opened")
    STAYED = "stayed", pgettext_lazy("alert", "stayed")
    SEEN = "seen", pgettext_lazy("alert", "seen")
    CLOSED = "closed", pgettext_lazy("alert", "closed")


class AlertEvent(FarmRecord):
    """One thing that happened to an alert. Append-only."""

    alert_id = models.UUIDField()
    alert = inside_farm("alerts.Alert", "alert_id", related_name="events")
    kind = models.CharField(max_length=8, choices=EventKind)
    week = models.DateField()
    at = models.DateTimeField()
    evidence = models.JSONField(default=dict)
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    entry = models.BigIntegerField()

    class Meta:
        indexes = [models.Index(name="event_by_alert", fields=["farm", "alert_id", "at"])]
