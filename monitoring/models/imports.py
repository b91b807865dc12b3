"""Long imports: sent in one piece, stored by a worker, watched meanwhile. The row is the queue."""

from django.db import models
from django.db.models import Q

from farms.tenancy.keys import FarmRecord, inside_farm
from monitoring.models.round import Source


class ImportState(models.TextChoices):
    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    REFUSED = "refused"
    FAILED = "failed"


UNFINISHED = (ImportState.WAITING, ImportState.RUNNING)


class Import(FarmRecord):
    """A table on its way in: who sent it, how it is to be taken, how far it is, how it ended.

    `due_at` is when somebody looks after it again: a waiting one is rung for, a running one is taken up by another
    worker, since whoever had it has fallen silent. `since` is the chain's entry of the first part stored.
    """

    user_id = models.UUIDField(null=True)
    token_id = models.UUIDField(null=True)
    language = models.CharField(max_length=5)
    form = models.CharField(max_length=4, choices=[("csv", "CSV"), ("json", "JSON")])
    order = models.CharField(max_length=11, blank=True, default="")
    source = models.CharField(max_length=8, choices=Source)
    dry_run = models.BooleanField(default=False)
    atomic = models.BooleanField(default=False)
    state = models.CharField(max_length=7, choices=ImportState, default=ImportState.WAITING)
    due_at = models.DateTimeField()
    attempts = models.IntegerField(default=0)
    since = models.BigIntegerField(null=True)
    rows = models.IntegerField(null=True)
    rows_done = models.IntegerField(default=0)
    stored = models.IntegerField(default=0)
    known = models.IntegerField(default=0)
    refused = models.IntegerField(default=0)
    rounds = models.IntegerField(default=0)
    problem = models.JSONField(null=True)
    made_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="import_is_of_a_person_or_a_token",
                condition=Q(user_id__isnull=True, token_id__isnull=False)
                | Q(user_id__isnull=False, token_id__isnull=True),
            ),
            models.CheckConstraint(
                name="import_that_ended_says_when",
                condition=Q(state__in=UNFINISHED, ended_at__isnull=True)
                | (~Q(state__in=UNFINISHED) & Q(ended_at__isnull=False)),
            ),
        ]
        indexes = [
            # Reader: monitoring.services.ring_due, which asks for what waits or fell silent.
            models.Index(name="import_due", fields=["due_at"], condition=Q(state__in=UNFINISHED)),
            models.Index(name="import_by_time", fields=["farm", "made_at"]),
        ]


class ImportContent(FarmRecord):
    """The bytes that were sent, under the id of their import; deleted when it has ended."""

    of_import = inside_farm("monitoring.Import", "id", related_name="contents")
    content = models.BinaryField()


class ImportPart(FarmRecord):
    """What became of some rows of an import, `first` (a place from 0) and those after it: a JSON array, as text."""

    import_id = models.UUIDField()
    of_import = inside_farm("monitoring.Import", "import_id", related_name="parts")
    first = models.IntegerField()
    rows = models.IntegerField()
    results = models.TextField()

    class Meta:
        constraints = [models.UniqueConstraint(name="import_part_once", fields=["farm", "import_id", "first"])]
