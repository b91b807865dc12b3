"""That an adviser told a farm its week, and how: for farms that get no mail."""

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.chained import Chained
from farms.tenancy.keys import FarmRecord


class ToldHow(models.TextChoices):
    LETTER = "letter", _("by letter")
    CALL = "call", _("by a call")
    IN_PERSON = "in_person", _("in person")
    TEXT_MESSAGE = "text", _("by text message")


class Told(FarmRecord):
    """A week's result was told on a day; with `undone`, that it wasn't after all. Rows are only added."""

    week = models.DateField()
    how = models.CharField(_("how"), max_length=9, choices=ToldHow)
    told_on = models.DateField(_("told on"))
    undone = models.BooleanField(default=False)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    entry = models.BigIntegerField()
    chained = Chained()

    class Meta:
        constraints = [models.UniqueConstraint(name="told_once_an_entry", fields=["farm", "entry"])]
        indexes = [models.Index(name="told_by_week", fields=["farm", "week"])]
