"""A farm's plan: the sheet on which its stations are found. Rows are only added: a new plan is a later row."""

from django.conf import settings
from django.db import models
from django.db.models.lookups import LessThanOrEqual

from farms.chained import Chained
from farms.tenancy.keys import FarmRecord, inside_farm

MOST_OUTLINES = 60


class PictureKind(models.TextChoices):
    JPEG = "jpeg", "JPEG"
    PNG = "png", "PNG"


class PlanPicture(FarmRecord):
    """What lies under a plan: a sketch, photo or page, made anew from its pixels (monitoring.rules.pictures).

    Apart from the plan, and chained by a salted hash, so that it can be erased.
    """

    kind = models.CharField(max_length=4, choices=PictureKind)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    content = models.BinaryField()
    salt = models.BinaryField(max_length=16)
    entry = models.BigIntegerField()
    chained = Chained(salted=("content",))


class Plan(FarmRecord):
    """A sheet from a day on: perhaps a picture, and outlines of buildings and yards; the newest holds.

    `width` to `height` is the sheet's shape. Each of `outlines` has a name or a facility, and corners from 0 (left,
    top) to 1 (monitoring.rules.outlines). Where a station is on it stands in its siting.
    """

    picture_id = models.UUIDField(null=True)
    picture = inside_farm("monitoring.PlanPicture", "picture_id", null=True)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    outlines = models.JSONField(default=list)
    since = models.DateField()
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    entry = models.BigIntegerField()
    chained = Chained()

    class Meta:
        constraints = [
            models.UniqueConstraint(name="plan_once_an_entry", fields=["farm", "entry"]),
            models.CheckConstraint(name="plan_has_a_shape", condition=models.Q(width__gte=1, height__gte=1)),
            models.CheckConstraint(
                name="plan_outlines_are_a_short_list",
                condition=LessThanOrEqual(
                    models.Func(
                        models.F("outlines"), function="jsonb_array_length", output_field=models.IntegerField()
                    ),
                    MOST_OUTLINES,
                ),
            ),
        ]
