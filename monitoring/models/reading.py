"""Readings: what a round found at a station, append-only; and the farm's weekly summary made from them."""

from typing import ClassVar

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from farms.chained import Chained
from farms.tenancy.keys import FarmRecord, inside_farm
from monitoring.methods import METHOD_CHOICES


class How(models.TextChoices):
    COUNTED = "counted", _("counted")
    PART = "part", _("a part was counted")
    CUP = "cup", _("measured by the cup")


class NoCount(models.TextChoices):
    """Why there is no count. Missing is not zero."""

    LOST = "lost", _("lost")
    WET = "wet", _("wet")
    CHEWED = "chewed", _("chewed")
    SPUN = "spun", _("spun in the wind")
    KEPT_OUT = "kept_out", _("kept out")
    NOT_VISITED = "not_visited", _("not visited")


# These two leave the card or trap where it hangs; every other reading takes it down.
LEAVES_IT_UP = (NoCount.KEPT_OUT, NoCount.NOT_VISITED)


class CorrectionKind(models.TextChoices):
    MISCOUNTED = "miscounted", _("counted wrongly")
    MISTYPED = "mistyped", _("typed wrongly")
    WRONG_STATION = "wrong_station", _("belongs to another station")
    WRONG_DATE = "wrong_date", _("wrong date")
    WITHDRAWN = "withdrawn", _("should not have been sent")
    OTHER = "other", _("other")


class ReadingQuerySet(models.QuerySet["Reading"]):
    def current(self, *, as_of: int | None = None) -> "ReadingQuerySet":
        """Without the readings that a later one corrects, and without the withdrawn.

        `as_of`: as they stood when the farm's chain had so many entries; all of them unless it is given.
        """
        later = Reading.objects.filter(farm_id=models.OuterRef("farm_id"), corrects_id=models.OuterRef("id"))
        known = self
        if as_of is not None:
            later, known = later.filter(entry__lte=as_of), self.filter(entry__lte=as_of)
        return known.filter(~models.Exists(later)).exclude(correction_kind=CorrectionKind.WITHDRAWN)

    def counted(self) -> "ReadingQuerySet":
        return self.filter(count__isnull=False)


class Reading(FarmRecord):
    """What was seen, never what was made of it: one row a reading, whatever the method.

    `count` is what was counted (by the cup: the estimate in flies), `fraction` the part of the card that was counted
    (1 for all), `at_least` marks "too many to count". `animals` holds the flies on all four legs, one number an animal.
    """

    # Readings carry no foreign key to farms of their own: the composite ones imply it.
    farm = models.ForeignKey(
        "farms.Farm", on_delete=models.DO_NOTHING, related_name="+", db_index=False, db_constraint=False
    )
    round_id = models.UUIDField()
    round = inside_farm("monitoring.Round", "round_id", related_name="readings")
    station_id = models.UUIDField()
    station = inside_farm("monitoring.Station", "station_id", related_name="readings")
    placement_id = models.UUIDField(null=True)
    placement = inside_farm("monitoring.Placement", "placement_id", related_name="readings", null=True)
    method = models.CharField(max_length=8, choices=METHOD_CHOICES)
    how = models.CharField(max_length=8, choices=How, default=How.COUNTED)
    count = models.IntegerField(null=True)
    fraction = models.DecimalField(max_digits=5, decimal_places=4, default=1)
    at_least = models.BooleanField(default=False)
    reason = models.CharField(max_length=12, choices=NoCount, blank=True, default="")
    hung_on = models.DateField(null=True)
    taken_on = models.DateField()
    zone = models.CharField(max_length=64)
    sides = models.PositiveSmallIntegerField(default=1)
    animals = ArrayField(models.IntegerField(), null=True)
    pen = models.CharField(max_length=60, blank=True, default="")
    time_of_day = models.TimeField(null=True)
    weather = models.CharField(max_length=60, blank=True, default="")
    bunching = models.BooleanField(null=True)
    sprayed = models.BooleanField(null=True)
    corrects_id = models.UUIDField(null=True)
    corrects = inside_farm("monitoring.Reading", "corrects_id", related_name="corrected_by", null=True)
    correction_kind = models.CharField(max_length=16, choices=CorrectionKind, blank=True, default="")
    received_at = models.DateTimeField()
    entry = models.BigIntegerField()
    chained = Chained(shown=True)

    objects: ClassVar[ReadingQuerySet] = ReadingQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="placement_is_taken_down_once",
                fields=["farm", "placement_id"],
                condition=Q(corrects_id__isnull=True) & ~Q(reason__in=LEAVES_IT_UP),
            ),
            models.UniqueConstraint(
                name="reading_is_corrected_once",
                fields=["farm", "corrects_id"],
                condition=Q(corrects_id__isnull=False),
            ),
            models.CheckConstraint(
                name="reading_count_not_negative", condition=Q(count__isnull=True) | Q(count__gte=0)
            ),
            models.CheckConstraint(
                name="reading_has_a_count_or_a_reason",
                # What is withdrawn says nothing at all any more.
                condition=Q(count__isnull=False, reason="") & ~Q(correction_kind="withdrawn")
                | Q(count__isnull=True) & ~Q(reason="") & ~Q(correction_kind="withdrawn")
                | Q(count__isnull=True, reason="", correction_kind="withdrawn"),
            ),
            models.CheckConstraint(
                name="reading_part_is_above_zero_and_at_most_one", condition=Q(fraction__gt=0, fraction__lte=1)
            ),
            models.CheckConstraint(name="reading_fraction_only_of_a_part", condition=Q(how=How.PART) | Q(fraction=1)),
            models.CheckConstraint(name="reading_cup_only_of_a_trap", condition=~Q(how=How.CUP) | Q(method="trap")),
            models.CheckConstraint(
                name="reading_hangs_at_least_a_day",
                condition=Q(method="leg", hung_on__isnull=True)
                | (~Q(method="leg") & Q(hung_on__isnull=True, count__isnull=True))
                | (~Q(method="leg") & Q(hung_on__lt=F("taken_on"))),
            ),
            models.CheckConstraint(
                name="reading_counts_animals_only_on_legs",
                condition=Q(method="leg", count__isnull=True, animals__isnull=True)
                | Q(method="leg", count__isnull=False, animals__isnull=False, animals__len__gt=0)
                | (~Q(method="leg") & Q(animals__isnull=True)),
            ),
            models.CheckConstraint(
                name="reading_correction_says_why",
                condition=Q(corrects_id__isnull=True, correction_kind="")
                | (Q(corrects_id__isnull=False) & ~Q(correction_kind="")),
            ),
        ]
        indexes = [
            models.Index(name="reading_by_day", fields=["farm", "taken_on"]),
            models.Index(name="reading_by_round", fields=["farm", "round_id"]),
        ]


class Note(FarmRecord):
    """Free words about a round or a reading; apart, so that they can be erased. Chained by a salted hash."""

    round_id = models.UUIDField()
    round = inside_farm("monitoring.Round", "round_id", related_name="notes")
    reading_id = models.UUIDField(null=True)
    reading = inside_farm("monitoring.Reading", "reading_id", related_name="notes", null=True)
    text = models.TextField(max_length=2000)
    salt = models.BinaryField(max_length=16)
    entry = models.BigIntegerField()
    chained = Chained(salted=("text",))


class WeeklySummary(models.Model):
    """A farm's figures for a method and an ISO week, made anew whenever a reading of that week arrives.

    `mean` is the mean over stations of the weekly rate, in the method's unit; NULL where nothing was counted.
    """

    pk = models.CompositePrimaryKey("farm_id", "method", "week")
    farm = models.ForeignKey(
        "farms.Farm", on_delete=models.DO_NOTHING, related_name="+", db_index=False, db_constraint=False
    )
    method = models.CharField(max_length=8, choices=METHOD_CHOICES)
    week = models.DateField(help_text="The Monday of the ISO week.")
    stations = models.IntegerField()
    devices = models.IntegerField()
    missing = models.IntegerField()
    counted = models.BigIntegerField(null=True)
    days = models.IntegerField()
    animals = models.IntegerField()
    mean = models.FloatField(null=True)
    at_least = models.BooleanField()
    last_received_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(name="summary_by_week", fields=["week", "method"])]
