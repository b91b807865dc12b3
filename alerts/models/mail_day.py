"""On which day a farm's weekly mail goes out. Rows are only added; the newest one holds."""

from django.conf import settings
from django.db import models

from farms.chained import Chained
from farms.tenancy.keys import FarmRecord

MONDAY, SUNDAY = 1, 7


class MailDay(FarmRecord):
    """The weekday that somebody chose for the farm's mail, by ISO 8601: 1 is Monday."""

    weekday = models.PositiveSmallIntegerField()
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()
    entry = models.BigIntegerField()
    chained = Chained()

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="mail_day_is_a_weekday", condition=models.Q(weekday__gte=MONDAY, weekday__lte=SUNDAY)
            )
        ]
        indexes = [models.Index(name="mail_day_newest", fields=["farm", "-entry"])]
