"""What was asked to be erased, of a farm or of a person, and the line that stays of a farm that was."""

from datetime import datetime

from django.db import models

from farms.ids import uuid7
from farms.models.group import Group
from farms.models.people import User
from farms.tenancy.keys import FarmRecord


class Waiting(models.Model):
    """Asked at a moment, done from `due_at` on, and not done where it was taken back before."""

    asked_at = models.DateTimeField()
    due_at = models.DateTimeField()
    taken_back_at = models.DateTimeField(null=True)
    done_at = models.DateTimeField(null=True)

    class Meta:
        abstract = True

    def waits(self) -> bool:
        return self.taken_back_at is None and self.done_at is None

    def is_due(self, now: datetime) -> bool:
        return self.waits() and self.due_at <= now


WAITS = models.Q(taken_back_at__isnull=True, done_at__isnull=True)


class ErasureRequest(Waiting, FarmRecord):
    """An owner's wish that the farm be erased, or, where `person_id` names one, somebody who counts there.

    `words`: of a person, what was noted on their rounds as well. Of an erased farm the row goes with it.
    """

    person_id = models.UUIDField(null=True)
    words = models.BooleanField(default=False)
    asked_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="erasure_waits_once", fields=["farm", "person_id"], condition=WAITS, nulls_distinct=False
            )
        ]


class AccountErasure(Waiting):
    """A person's wish that their own account be erased. Seen by nobody but them. `words`: what they typed, too."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    words = models.BooleanField(default=False)

    class Meta:
        constraints = [models.UniqueConstraint(name="account_erasure_waits_once", fields=["user"], condition=WAITS)]


class ErasedFarm(models.Model):
    """What stays of an erased farm: that there was one in this group, and how many rows went. No name, no farm's id.

    `id` is the request's, which its owners were told.
    """

    id = models.UUIDField(primary_key=True, editable=False)
    group = models.ForeignKey(Group, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    erased_at = models.DateTimeField()
    rows = models.BigIntegerField()
