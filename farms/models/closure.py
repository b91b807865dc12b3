"""Closed to visits, and open again: of one farm, or of a whole region. Rows are only added, and no reason is asked."""

from django.db import models

from farms.chained import Chained
from farms.ids import uuid7
from farms.models.group import Region
from farms.models.people import User
from farms.tenancy.keys import FarmRecord


class ClosureRow(models.Model):
    """From this day on closed to visits, or (`closed` False) open again: over whatever was set before for that day."""

    closed = models.BooleanField()
    from_on = models.DateField()
    set_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()

    class Meta:
        abstract = True


class FarmClosure(ClosureRow, FarmRecord):
    """Set by the farm's owner or its adviser. Read by the farm's people and its advisers, by nobody else."""

    entry = models.BigIntegerField()
    chained = Chained()

    class Meta:
        constraints = [models.UniqueConstraint(name="farm_closure_once_an_entry", fields=["farm", "entry"])]


class RegionClosure(ClosureRow):
    """Set by a coordinator of the group; seen by everybody of it."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    region = models.ForeignKey(Region, on_delete=models.PROTECT, related_name="closures")
