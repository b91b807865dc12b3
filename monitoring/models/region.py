"""Cohorts and the frozen region reports made from them. Row security lets each role see only its part."""

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.ids import uuid7
from monitoring.methods import METHOD_CHOICES


class Cohort(models.Model):
    """The holdings that count in a region for one quarter, fixed at its first report. Read by the cohort role only."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    region = models.ForeignKey("farms.Region", on_delete=models.PROTECT, related_name="cohorts")
    quarter = models.DateField(help_text="The first day of the quarter.")
    holdings = ArrayField(models.UUIDField())
    farms = ArrayField(models.UUIDField())
    hash = models.BinaryField(max_length=32)
    made_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(name="cohort_once_a_quarter", fields=["region", "quarter"])]


class Disclosure(models.TextChoices):
    NUMBERS = "numbers", _("numbers")
    WORD = "word", _("a word")
    NOTHING = "nothing", _("nothing")


class RegionReport(models.Model):
    """A region's frozen figures for a method and an ISO week; never changed once published."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    region = models.ForeignKey("farms.Region", on_delete=models.PROTECT, related_name="reports")
    method = models.CharField(max_length=8, choices=METHOD_CHOICES)
    week = models.DateField(help_text="The Monday of the ISO week.")
    disclosure = models.CharField(max_length=8, choices=Disclosure)
    contributors = models.CharField(max_length=12, blank=True, default="")
    mean = models.FloatField(null=True)
    share_over = models.FloatField(null=True)
    word = models.CharField(max_length=8, blank=True, default="")
    level = models.FloatField(null=True)
    cutoff_at = models.DateTimeField()
    published_at = models.DateTimeField()
    cohort_hash = models.BinaryField(max_length=32)
    rule_version = models.CharField(max_length=20)
    code_version = models.CharField(max_length=40)

    class Meta:
        constraints = [models.UniqueConstraint(name="region_report_once_a_week", fields=["region", "method", "week"])]
