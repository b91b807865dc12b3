"""What an adviser who left had promised a farm and not done yet."""

from django.db import models
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from farms.models.people import User
from farms.tenancy.keys import FarmRecord


class PromiseKind(models.TextChoices):
    VISIT = "visit", pgettext_lazy("promised", "a visit")
    CALL = "call", pgettext_lazy("promised", "a call")
    PUT_OFF = "put_off", _("to look again at what was put off")
    TELL = "tell", _("to tell the week to a farm that gets no mail")


class OpenPromise(FarmRecord):
    """One promise and its day; done when another adviser of the farm has it. No number of the farm is in it."""

    left = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=7, choices=PromiseKind)
    day = models.DateField()
    noted_at = models.DateTimeField()
    taken_by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    taken_at = models.DateTimeField(null=True)

    class Meta:
        # Reader: open_promises_of_group (farms/tenancy/succession.sql).
        indexes = [models.Index(name="promise_open", fields=["farm", "day"], condition=models.Q(taken_at__isnull=True))]
        constraints = [
            models.CheckConstraint(
                name="promise_is_taken_by_somebody",
                condition=models.Q(taken_by__isnull=True, taken_at__isnull=True)
                | models.Q(taken_by__isnull=False, taken_at__isnull=False),
            )
        ]
