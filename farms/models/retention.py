"""How long a group keeps a kind of record, as its coordinator set it. Rows are only added; the newest holds."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from farms.ids import uuid7
from farms.models.group import Group
from farms.models.people import User


class KeptKind(models.TextChoices):
    """Kinds of record whose time a group may choose."""

    NOTES = "notes", _("notes on rounds, matters, calls and work")
    PHOTOS = "photos", _("pictures taken on rounds")
    APPLICATORS = "applicators", _("names on sprays, pour-ons and baits")
    MAILS = "mails", _("mails as they were sent")
    LOG = "log", _("lines of who came in")


class GroupRetention(models.Model):
    """From `set_at` on records of this kind are kept for so many months; NULL: for as long as the farm is here."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=12, choices=KeptKind)
    months = models.PositiveSmallIntegerField(null=True)
    set_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()
