"""What is told of the running: of every group what was last counted, and which of its counts are off.

The rows hold nothing of a farm. Farms set aside are told by row security, to those who may see them.
"""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import TYPE_CHECKING
from uuid import UUID

from django.db.models import Count

from alerts.models import CheckFailure, CheckRun, Ring, Running

if TYPE_CHECKING:
    from farms.models import Group

# The row of the bell that says that beat, broker and worker are all there.
RING = "running"
# Until then a week is being judged; after that people are told that it has not run.
TOLD_AFTER = timedelta(hours=1)


class Kind(StrEnum):
    """What can be off."""

    NO_BELL = "no_bell"
    CHECK_LATE = "check_late"
    NOT_JUDGED = "not_judged"
    NOT_WRITTEN = "not_written"
    MAIL_WAITS = "mail_waits"
    IMPORT_WAITS = "import_waits"


@dataclass(frozen=True)
class Allowed:
    """How old what is due may grow before it is off."""

    bell: timedelta = timedelta(minutes=10)
    check: timedelta = timedelta(hours=2)
    mail: timedelta = timedelta(hours=7)  # between two tries of a mail that is put off lie six at most
    imports: timedelta = timedelta(hours=2)


@dataclass(frozen=True)
class Off:
    """One count that does not match, or one age that is too great. `wanted` and `found` are counts, where it is one."""

    kind: Kind
    group_id: UUID | None
    since: datetime | None = None
    wanted: int = 0
    found: int = 0


def off_in_group(row: Running, allowed: Allowed, now: datetime) -> Iterator[Off]:
    """What is off in a group, the gravest first."""
    if row.due_at is not None and now - row.due_at > allowed.check:
        yield Off(Kind.CHECK_LATE, row.group_id, since=row.due_at)
    if row.to_judge != row.judged + row.failed and row.settled_at is None:
        yield Off(Kind.NOT_JUDGED, row.group_id, wanted=row.to_judge, found=row.judged + row.failed)
    if row.owed != row.written and row.settled_at is None:
        yield Off(Kind.NOT_WRITTEN, row.group_id, wanted=row.owed, found=row.written)
    if row.oldest_mail_at is not None and now - row.oldest_mail_at > allowed.mail:
        yield Off(Kind.MAIL_WAITS, row.group_id, since=row.oldest_mail_at, found=row.waiting + row.sending)
    if row.oldest_import_at is not None and now - row.oldest_import_at > allowed.imports:
        yield Off(Kind.IMPORT_WAITS, row.group_id, since=row.oldest_import_at, found=row.imports)


def what_is_off(rows: Iterable[Running], rung_at: datetime | None, allowed: Allowed, now: datetime) -> list[Off]:
    """What is off in these groups and with the bell; nothing is when every count matches."""
    silent = rung_at is None or now - rung_at > allowed.bell
    bell = [Off(Kind.NO_BELL, None, since=rung_at)] if silent else []
    return bell + [off for row in rows for off in off_in_group(row, allowed, now)]


def running_of(group: "Group") -> Running | None:
    """A group's row; None before the bell has rung for it."""
    return Running.objects.filter(group_id=group.id).first()


def running_everywhere() -> list[Running]:
    """Every group's row, with its group, by name."""
    return list(Running.objects.select_related("group").order_by("group__name", "group_id"))


def last_ring() -> datetime | None:
    """When the worker last heard the bell."""
    return Ring.objects.filter(name=RING).values_list("rung_at", flat=True).first()


def late_week(group_id: UUID, now: datetime) -> date | None:
    """The week whose check should have run more than an hour ago and has not. One small row is read."""
    late = Running.objects.filter(group_id=group_id, due_at__lt=now - TOLD_AFTER)
    return late.values_list("due_week", flat=True).first()


def newest_runs(**wanted: str) -> dict[UUID, CheckRun]:
    """Each group's newest run (of a state, where one is asked), with its group. One query."""
    runs = CheckRun.objects.filter(**wanted).select_related("group").order_by("group_id", "-week")
    return {run.group_id: run for run in runs.distinct("group_id")}


def number_of_runs() -> dict[str, int]:
    """How many runs of all groups are in each state."""
    counted = CheckRun.objects.order_by().values_list("state").annotate(number=Count("id"))
    return dict(counted)


def runs_of(group: "Group") -> "list[CheckRun]":
    """The group's last twelve runs, the newest first."""
    return list(CheckRun.objects.filter(group_id=group.id).order_by("-week")[:12])


def failures_of(farm_ids: Collection[UUID]) -> list[CheckFailure]:
    """What is set aside of farms that somebody may see, with the farm, the first to be tried again first."""
    failures = CheckFailure.objects.filter(farm_id__in=farm_ids, solved_at__isnull=True).select_related("farm")
    return list(failures.order_by("retry_at", "farm_id"))
