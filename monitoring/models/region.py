"""Cohorts, what was frozen of their members, and the region reports made from it. Each role sees only its part."""

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.ids import uuid7
from monitoring.methods import METHOD_CHOICES


class WordsOnly(models.TextChoices):
    """Why a cohort gives words only for its whole quarter."""

    FEW_LEFT = "few_left", _("one to four left since the quarter before")
    OLD_RULE = "old_rule", _("fixed under an older rule")


class Cohort(models.Model):
    """Who counts in a region for one quarter, fixed at its first report. Read by the cohort role only.

    `farm_holdings` and, where the region is split by housing in this quarter, `housing` go along with `farms`.
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    region = models.ForeignKey("farms.Region", on_delete=models.PROTECT, related_name="cohorts")
    quarter = models.DateField(help_text="The first day of the quarter.")
    holdings = ArrayField(models.UUIDField())
    farms = ArrayField(models.UUIDField())
    farm_holdings = ArrayField(models.UUIDField(), default=list, db_default=[])
    housing = ArrayField(models.CharField(max_length=20), default=list, db_default=[])
    words_only = models.CharField(
        max_length=10, choices=WordsOnly, blank=True, default="", db_default=WordsOnly.OLD_RULE
    )
    hash = models.BinaryField(max_length=32)
    made_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(name="cohort_once_a_quarter", fields=["region", "quarter"])]


class Third(models.IntegerChoices):
    LOWER = 1, _("lower third")
    MIDDLE = 2, _("middle third")
    UPPER = 3, _("upper third")


class Contribution(models.Model):
    """A farm's part in its region's week, frozen at the cut-off; what its reports rest on, and its own third in them.

    `mean` is the farm's, in the method's unit; `ratio` the log of it over the farm's own normal and `growth` the log
    growth a week of its last weeks, each NULL where there are too few. `third` is the holding's place among
    the contributors (of its housing, where `part` names one), NULL where no numbers were published.
    """

    pk = models.CompositePrimaryKey("farm_id", "method", "week")
    farm = models.ForeignKey(
        "farms.Farm", on_delete=models.DO_NOTHING, related_name="+", db_index=False, db_constraint=False
    )
    method = models.CharField(max_length=8, choices=METHOD_CHOICES)
    week = models.DateField(help_text="The Monday of the ISO week.")
    region_id = models.UUIDField()
    holding_id = models.UUIDField()
    mean = models.FloatField()
    ratio = models.FloatField(null=True)
    growth = models.FloatField(null=True)
    rising = models.BooleanField(null=True)
    part = models.CharField(max_length=20, blank=True, default="")
    third = models.SmallIntegerField(choices=Third, null=True)
    frozen_at = models.DateTimeField()

    class Meta:
        # Reader: monitoring.regional.frozen.frozen_rows().
        indexes = [models.Index(name="contribution_by_region", fields=["region_id", "week"])]


class Disclosure(models.TextChoices):
    NUMBERS = "numbers", _("numbers")
    WORD = "word", _("a word")
    NOTHING = "nothing", _("nothing")


class RegionReport(models.Model):
    """A region's frozen figures for a method and an ISO week; never changed once published.

    Of the whole region where `part` is "", else of the farms of one housing. `mean` and `middle` (the mean of the
    middle third) are in the method's unit; shares go from 0 to 1. `normal`, `normal_middle` are how many times its own
    normal the farms are at, `normal_share` how many are above it; `growth` with its 95 % interval is growth a week
    (0.2: by a fifth). `usual_` is the region's band of this time of year, from reports of earlier years.
    """

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    region = models.ForeignKey("farms.Region", on_delete=models.PROTECT, related_name="reports")
    method = models.CharField(max_length=8, choices=METHOD_CHOICES)
    week = models.DateField(help_text="The Monday of the ISO week.")
    part = models.CharField(max_length=20, blank=True, default="", db_default="")
    disclosure = models.CharField(max_length=8, choices=Disclosure)
    contributors = models.CharField(max_length=12, blank=True, default="")
    mean = models.FloatField(null=True)
    middle = models.FloatField(null=True)
    share_over = models.FloatField(null=True)
    share_rising = models.FloatField(null=True)
    normal = models.FloatField(null=True)
    normal_middle = models.FloatField(null=True)
    normal_share = models.FloatField(null=True)
    growth = models.FloatField(null=True)
    growth_low = models.FloatField(null=True)
    growth_high = models.FloatField(null=True)
    usual_low = models.FloatField(null=True)
    usual_high = models.FloatField(null=True)
    usual_normal_low = models.FloatField(null=True)
    usual_normal_high = models.FloatField(null=True)
    word = models.CharField(max_length=8, blank=True, default="")
    level = models.FloatField(null=True)
    cutoff_at = models.DateTimeField()
    published_at = models.DateTimeField()
    cohort_hash = models.BinaryField(max_length=32)
    rule_version = models.CharField(max_length=20)
    code_version = models.CharField(max_length=40)

    class Meta:
        constraints = [
            models.UniqueConstraint(name="region_report_once_a_week", fields=["region", "method", "week", "part"])
        ]


class HeldReason(models.TextChoices):
    """Why a region's reports of a week were not published. Tells of no farm."""

    BOUNDED = "bounded", _("a contributor could have been worked out")
    UNTRUE = "untrue", _("a figure did not follow from what was frozen")
    UNSOLVED = "unsolved", _("the audit came to no end")


class HeldReport(models.Model):
    """A region's week that the audit held back, and why; the reports come out once the audit lets them."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    region = models.ForeignKey("farms.Region", on_delete=models.PROTECT, related_name="+")
    week = models.DateField(help_text="The Monday of the ISO week.")
    reason = models.CharField(max_length=10, choices=HeldReason)
    held_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(name="held_once_a_reason", fields=["region", "week", "reason"])]
