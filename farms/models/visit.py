"""Planned visits and calls of advisers, what they told when planning, and the group's rules for visits."""

from django.db import models
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from farms.ids import uuid7
from farms.models.group import Group
from farms.models.people import User
from farms.tenancy.keys import FarmRecord, inside_farm


class VisitKind(models.TextChoices):
    VISIT = "visit", pgettext_lazy("planned", "visit")
    CALL = "call", pgettext_lazy("planned", "call")


class PlannedVisit(FarmRecord):
    """What an adviser plans for a farm and a day. Seen by the farm's people and its advisers.

    While the farm is closed to visits a visit is told as a call: that is derived, so that opening turns it back.
    """

    adviser = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(_("kind"), max_length=5, choices=VisitKind)
    day = models.DateField(_("day"))
    planned_at = models.DateTimeField()
    taken_back_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = [models.Index(name="planned_visit_by_day", fields=["farm", "day"])]


class LastFarmVisited(FarmRecord):
    """Where the adviser was before, told when a visit was planned. Read and erased by that adviser alone."""

    visit_id = models.UUIDField()
    visit = inside_farm("farms.PlannedVisit", "visit_id")
    adviser = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    name = models.CharField(_("last farm visited"), max_length=120)
    visited_on = models.DateField(_("when"))

    class Meta:
        constraints = [models.UniqueConstraint(name="last_farm_told_once_a_visit", fields=["farm", "visit_id"])]


class GroupVisitRules(models.Model):
    """The group's own rules for visits, as its coordinator wrote them. Rows are only added; the newest one holds."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="+")
    text = models.TextField(_("rules for visits"), max_length=1500)
    set_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()
