"""Daily temperatures of a region. No farm's data."""

from django.db import models

from farms.ids import uuid7


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
