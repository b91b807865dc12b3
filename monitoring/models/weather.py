"""Daily temperatures: of a region, which are no farm's data, and of a farm that measures its own."""

from django.db import models

from farms.ids import uuid7
from farms.tenancy.keys import FarmRecord


class DailyTemperature(models.Model):
    """A day's lowest and highest temperature in a region. [degrees Celsius]"""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    region = models.ForeignKey("farms.Region", on_delete=models.CASCADE, related_name="temperatures")
    day = models.DateField()
    min_c = models.FloatField()
    max_c = models.FloatField()

    class Meta:
        constraints = [
            models.UniqueConstraint(name="temperature_once_a_day", fields=["region", "day"]),
            models.CheckConstraint(
                name="temperature_min_not_above_max", condition=models.Q(min_c__lte=models.F("max_c"))
            ),
        ]


class FarmTemperature(FarmRecord):
    """A day's lowest and highest temperature on a farm; it goes before the region's. [degrees Celsius]

    Weather is no count: a day that is sent again replaces what was stored, and none is in the farm's chain.
    """

    day = models.DateField()
    min_c = models.FloatField()
    max_c = models.FloatField()
    recorded_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(name="farm_temperature_once_a_day", fields=["farm", "day"]),
            models.CheckConstraint(
                name="farm_temperature_min_not_above_max", condition=models.Q(min_c__lte=models.F("max_c"))
            ),
            models.CheckConstraint(
                name="farm_temperature_lies_within_60_degrees_of_zero",
                condition=models.Q(min_c__gte=-60, max_c__lte=60),
            ),
        ]
