"""What the weekly check concluded for a farm, or one of its facilities, a method and an ISO week."""

from django.db import models
from django.utils.translation import pgettext_lazy

from farms.tenancy.keys import FarmRecord, inside_farm
from monitoring.methods import METHOD_CHOICES


class LevelWord(models.TextChoices):
    BELOW = "below", pgettext_lazy("level", "below")
    NEAR = "near", pgettext_lazy("level", "near")
    OVER = "over", pgettext_lazy("level", "at or over")
    NONE = "none", pgettext_lazy("level", "not counted")


WEEKS_FOR_A_TREND = 5  # observed, of the last twelve


class TrendWord(models.TextChoices):
    RISING = "rising", pgettext_lazy("trend", "rising")
    FALLING = "falling", pgettext_lazy("trend", "falling")
    LEVEL = "level", pgettext_lazy("trend", "level")
    TOO_EARLY = "too_early", pgettext_lazy("trend", "too early to tell")


class Assessment(FarmRecord):
    """Append-only; a later reading of the week makes a new revision. Trend is the farm's, not a facility's."""

    facility_id = models.UUIDField(null=True)
    facility = inside_farm("farms.Facility", "facility_id", null=True)
    method = models.CharField(max_length=8, choices=METHOD_CHOICES)
    week = models.DateField()
    revision = models.PositiveSmallIntegerField(default=1)
    judged_at = models.DateTimeField()
    mean = models.FloatField(null=True)
    low = models.FloatField(null=True)
    high = models.FloatField(null=True)
    at_least = models.BooleanField(default=False)
    devices = models.IntegerField(default=0)
    missing = models.IntegerField(default=0)
    few_devices = models.BooleanField(default=False)
    level = models.FloatField(null=True)
    level_of = models.CharField(max_length=8, default="default")
    result = models.CharField(max_length=6, choices=LevelWord)
    trend = models.CharField(max_length=10, choices=TrendWord, blank=True, default="")
    growth = models.FloatField(null=True, help_text="Log growth a week, over the last eight weeks.")
    growth_low = models.FloatField(null=True)
    growth_high = models.FloatField(null=True)
    p_value = models.FloatField(null=True)
    weeks_observed = models.PositiveSmallIntegerField(default=0)
    # The farm's own test, up and down, over its last twelve weeks.
    p_rise = models.FloatField(null=True)
    p_fall = models.FloatField(null=True)
    over_probability = models.FloatField(null=True, help_text="That the true level is over the action level.")
    # What a round will count in one, two and three weeks, and when the level is likely crossed.
    outlook = models.JSONField(default=dict)
    borrowed = models.CharField(max_length=20, blank=True, default="", help_text="Name of the borrowed figures.")
    # Where most of it is: [{"station": id, "share": 0..1, "question": code}], and flags by name.
    evidence = models.JSONField(default=dict)
    code_version = models.CharField(max_length=40)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="assessment_once_a_revision",
                # In this order it finds a farm's week too: the check writes many rows, and each index costs.
                fields=["farm", "week", "facility_id", "method", "revision"],
                nulls_distinct=False,
            )
        ]
