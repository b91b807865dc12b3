"""Open matters with a beginning and an end, and their history."""

from django.db import models
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from farms.chained import Chained
from farms.models.chain import ActorKind
from farms.tenancy.keys import FarmRecord, inside_farm


class Rule(models.TextChoices):
    OVER = "over", _("over the action level")
    SOON = "soon", _("likely over soon")
    RISING = "rising", _("rising")
    HOT_STATION = "hot_station", _("one far above the rest")
    JUMP = "jump", _("a jump against the farm's own past")
    OVERDUE = "overdue", _("round overdue")
    MISSING_TWICE = "missing_twice", _("without a count twice running")
    SITING = "siting", _("how they hang")
    FEW_ANIMALS = "few_animals", _("too few animals looked at")


# What asks for a visit waits while a farm takes no visitors; its people may go on counting.
WAITS_FOR_VISITS = frozenset({Rule.OVERDUE.value, Rule.SITING.value, Rule.FEW_ANIMALS.value})


class ClosedBecause(models.TextChoices):
    BACK_BELOW = "back_below", _("back below the action level")
    NO_LONGER_RISING = "no_longer_rising", _("no longer rising")
    OVER_NOW = "over_now", _("it is over the action level now")
    NO_LONGER_LIKELY = "no_longer_likely", _("no longer likely over soon")
    NO_LONGER_APART = "no_longer_apart", _("no longer far above the rest")
    LIKE_ITS_PAST = "like_its_past", _("like the farm's own past again")
    COUNTED_AGAIN = "counted_again", _("counted again")
    SKIPPED_AHEAD = "skipped_ahead", _("a round was skipped ahead")
    PUT_RIGHT = "put_right", _("put right")
    ENOUGH_ANIMALS = "enough_animals", _("enough animals looked at")
    CORRECTED = "corrected", _("a count was corrected")
    SWITCHED_OFF = "switched_off", _("the group no longer asks for this")
    KEPT_OUT = "kept_out", _("a label kept people out")
    SEASON_CLOSED = "season_closed", _("season closed")


class Alert(FarmRecord):
    """One episode of one rule on a farm or facility. Its history is in AlertEvent.

    What comes back within three weeks of its end is the same episode: `reopened_*` say when it last did.
    """

    facility_id = models.UUIDField(null=True)
    facility = inside_farm("farms.Facility", "facility_id", null=True)
    method = models.CharField(max_length=8, blank=True, default="")
    rule = models.CharField(max_length=16, choices=Rule)
    episode = models.PositiveSmallIntegerField(default=1)
    opened_week = models.DateField()
    opened_at = models.DateTimeField()
    reopened_week = models.DateField(null=True)
    reopened_at = models.DateTimeField(null=True)
    escalated_at = models.DateTimeField(null=True)
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
        # Reader: alerts.checks.escalation, which asks for what is open and was not told to the adviser yet.
        indexes = [
            models.Index(
                name="alert_to_escalate",
                fields=["opened_at"],
                condition=models.Q(closed_at__isnull=True, escalated_at__isnull=True),
            )
        ]


class EventKind(models.TextChoices):
    OPENED = "opened", pgettext_lazy("alert", "opened")
    REOPENED = "reopened", pgettext_lazy("alert", "opened again")
    STAYED = "stayed", pgettext_lazy("alert", "stayed")
    SEEN = "seen", pgettext_lazy("alert", "seen")
    ACKNOWLEDGED = "acknowledged", pgettext_lazy("alert", "acknowledged")
    SNOOZED = "snoozed", pgettext_lazy("alert", "later")
    WORK_LINKED = "work_linked", pgettext_lazy("alert", "work noted")
    ESCALATED = "escalated", pgettext_lazy("alert", "adviser told")
    CLOSED = "closed", pgettext_lazy("alert", "closed")


# What the weekly check writes, once a week at most; and what a person did, by which an alert counts as seen.
BY_THE_CHECK = (EventKind.OPENED, EventKind.REOPENED, EventKind.STAYED, EventKind.CLOSED)
BY_SOMEBODY = (EventKind.SEEN, EventKind.ACKNOWLEDGED, EventKind.SNOOZED, EventKind.WORK_LINKED)


class AlertEvent(FarmRecord):
    """One thing that happened to an alert. Append-only."""

    alert_id = models.UUIDField()
    alert = inside_farm("alerts.Alert", "alert_id", related_name="events")
    kind = models.CharField(max_length=12, choices=EventKind)
    week = models.DateField()
    at = models.DateTimeField()
    evidence = models.JSONField(default=dict)
    actor_kind = models.CharField(max_length=12, choices=ActorKind)
    entry = models.BigIntegerField()
    chained = Chained()

    class Meta:
        indexes = [models.Index(name="event_by_alert", fields=["farm", "alert_id", "at"])]


class AlertNote(FarmRecord):
    """What somebody wrote on acknowledging an alert; apart, so that it can be erased. Chained by a salted hash."""

    event_id = models.UUIDField()
    event = inside_farm("alerts.AlertEvent", "event_id", related_name="notes")
    text = models.TextField(max_length=2000)
    salt = models.BinaryField(max_length=16)
    entry = models.BigIntegerField()
    chained = Chained(salted=("text",))

    class Meta:
        constraints = [models.UniqueConstraint(name="alert_note_once_an_event", fields=["farm", "event_id"])]


class AlertWork(FarmRecord):
    """Work that was done about an alert. Append-only."""

    alert_id = models.UUIDField()
    alert = inside_farm("alerts.Alert", "alert_id", related_name="works")
    work_id = models.UUIDField()
    work = inside_farm("monitoring.Work", "work_id")
    event_id = models.UUIDField()
    event = inside_farm("alerts.AlertEvent", "event_id")
    chained = Chained(entry="event__entry")

    class Meta:
        constraints = [models.UniqueConstraint(name="alert_work_once", fields=["farm", "alert_id", "work_id"])]
