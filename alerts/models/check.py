"""Runs of the weekly check: one a group and ISO week, claimed with a lease."""

from collections.abc import Callable
from datetime import datetime

from django.db import models

from farms.ids import uuid7
from farms.tenancy.keys import FarmRecord
from monitoring.methods import METHOD_CHOICES


class RunState(models.TextChoices):
    DUE = "due"
    RUNNING = "running"
    DONE = "done"


class CheckRun(models.Model):
    """One group's check of one ISO week."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    group = models.ForeignKey("farms.Group", on_delete=models.PROTECT, related_name="check_runs")
    week = models.DateField(help_text="The Monday of the ISO week that is judged.")
    state = models.CharField(max_length=8, choices=RunState, default=RunState.DUE)
    lease_until = models.DateTimeField(null=True)
    attempts = models.IntegerField(default=0)
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)
    listed_at = models.DateTimeField(null=True, help_text="When the list of names was fixed.")
    # By method, the largest p-value with which a rise opens an alert (alerts.checks.rises); None: not fixed yet.
    rise_bars = models.JSONField(null=True)
    # Readings received up to here are judged; what came later has its week judged again.
    judged_to = models.DateTimeField(null=True)
    # Rounds received up to here were looked at for a mail between two Mondays; None: none of the running week was yet.
    looked_to = models.DateTimeField(null=True)
    farms = models.IntegerField(default=0)
    failures = models.IntegerField(default=0)
    error = models.TextField(blank=True, default="")
    code_version = models.CharField(max_length=40, blank=True, default="")

    # Not stored: the clock of the process that claimed it (alerts.checks.claims).
    clock: Callable[[], datetime]

    class Meta:
        constraints = [models.UniqueConstraint(name="check_run_once_a_week", fields=["group", "week"])]


class ListedRise(FarmRecord):
    """A farm that the group's list of a Monday names as rising beyond the week that all its farms share.

    It rests on other farms' weeks: for the adviser's list only, never for a farm's own page or mail. Append-only: what
    arrives later leaves the list of that Monday as it was.
    """

    method = models.CharField(max_length=8, choices=METHOD_CHOICES)
    week = models.DateField()
    p_value = models.FloatField()
    compared = models.IntegerField(help_text="How many farms of the group were compared.")
    borrowed = models.CharField(max_length=20)

    class Meta:
        constraints = [models.UniqueConstraint(name="listed_once_a_week", fields=["farm", "method", "week"])]


class CheckFailure(FarmRecord):
    """A farm whose check failed while the others went on: the error, and when it is tried again."""

    week = models.DateField()
    error = models.TextField()
    failed_at = models.DateTimeField()
    retry_at = models.DateTimeField()
    solved_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(name="check_failure_once_a_week", fields=["farm", "week"])]
