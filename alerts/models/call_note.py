"""What an adviser noted after a call or a visit, and the next step that they promised."""

from django.conf import settings
from django.db import models

from farms.chained import Chained
from farms.tenancy.keys import FarmRecord

LONGEST_TEXT, LONGEST_STEP = 500, 200


class CallNote(FarmRecord):
    """A note, a next step with its day, or both; or, with `done`, that the step before was done. Rows are only added.

    Free words, so the chain holds only a salted hash of them and a row can be erased. The farm's people read it, and
    whoever advises the farm.
    """

    text = models.CharField(max_length=LONGEST_TEXT, blank=True)
    step = models.CharField(max_length=LONGEST_STEP, blank=True)
    step_on = models.DateField(null=True, blank=True)
    done = models.BooleanField(default=False)
    salt = models.BinaryField(max_length=16)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    noted_on = models.DateField()  # the day on the farm
    entry = models.BigIntegerField()
    chained = Chained(salted=("text", "step"))

    class Meta:
        constraints = [
            models.UniqueConstraint(name="call_note_once_an_entry", fields=["farm", "entry"]),
            models.CheckConstraint(
                name="call_note_step_has_a_day",
                condition=models.Q(step="", step_on__isnull=True)
                | ~models.Q(step="") & models.Q(step_on__isnull=False),
            ),
            models.CheckConstraint(
                name="call_note_says_something_or_ends_a_step",
                condition=models.Q(done=True, text="", step="") | models.Q(done=False) & ~models.Q(text="", step=""),
            ),
        ]
