"""Claiming a run of the weekly check: by compare-and-set with a lease, so that two workers judge a week once.

The lease is short and renewed with every part of the work, so that the run of a worker that died is free soon, and the
run of one that works never is. It is claimed again then; what was written stays and is found to be the same.
"""

from datetime import date, datetime, timedelta
from uuid import UUID

from django.conf import settings
from django.db import connection, transaction
from django.db.models import F, Q, QuerySet

from alerts.models import CheckRun
from alerts.models.check import RunState
from alerts.pauses import pause_after
from farms.clock import going_on_from

# The longest part of a run between two renewals, judging 500 farms or writing 200 mails, takes some ten seconds.
LEASE = timedelta(minutes=5)
PATIENCE = "30s"  # for a part of another worker's to end
GROUP_LOCK = "hashtext('weekly check'), hashtext(%s)"
FIRST_PAUSE, LONGEST_PAUSE = timedelta(minutes=1), timedelta(hours=1)


def claim(group_id: UUID, week: date, now: datetime) -> CheckRun | None:
    """The run of a group's week as ours until its lease ends, or None: somebody has it, it is done, or it must wait."""
    CheckRun.objects.bulk_create([CheckRun(group_id=group_id, week=week)], ignore_conflicts=True)
    free = Q(state=RunState.DUE) & (Q(lease_until__isnull=True) | Q(lease_until__lte=now))
    left = Q(state=RunState.RUNNING, lease_until__lte=now)
    claimable = CheckRun.objects.filter(free | left, group_id=group_id, week=week)
    # Looked at before anything is locked: a bell every minute must not hold up whoever is at work.
    if not claimable.exists():
        return None
    with transaction.atomic():
        hold_group(group_id)
        claimed = claimable.update(
            state=RunState.RUNNING, lease_until=now + LEASE, attempts=F("attempts") + 1, started_at=now,
            code_version=settings.CODE_VERSION,
        )  # fmt: skip
    if not claimed:
        return None
    run = CheckRun.objects.select_related("group").get(group_id=group_id, week=week)
    run.clock = going_on_from(now)
    return run


def renew(run: CheckRun) -> None:
    """Keep a claimed run ours for a whole lease from now. Raises RunLost where another worker has claimed it.

    In a statement of its own, before a part begins: within the part's transaction it would be seen too late.
    """
    if not _ours(run).update(lease_until=run.clock() + LEASE):
        raise RunLost(f"The run of {run.week} is another worker's by now.")


def finish(run: CheckRun, *, now: datetime) -> bool:
    """Record a run as done, with what `run` says of farms, failures and error. False: it was no longer ours."""
    done = _ours(run).update(
        state=RunState.DONE, finished_at=now, judged_to=run.judged_to, lease_until=None, farms=run.farms,
        failures=run.failures, error=run.error,
    )  # fmt: skip
    return bool(done)


def give_back(run: CheckRun, error: str, *, now: datetime) -> None:
    """Store why a run stopped and when it may be claimed again: after a pause that doubles with each attempt."""
    pause = pause_after(run.attempts, FIRST_PAUSE, LONGEST_PAUSE)
    _ours(run).update(state=RunState.DUE, lease_until=now + pause, error=error)


class RunLost(Exception):
    """Another worker has claimed the run, since its lease ran out: what is left of it is the other's to do."""


def keep_run(run: CheckRun) -> None:
    """Keep a claimed run ours until the transaction ends. Raises RunLost where it no longer is.

    Parts of one run may do this side by side. Claiming it waits for them, and after that they are refused, so that two
    workers never judge one week at once, though a lease ran out while its owner still worked.
    """
    _lock("pg_advisory_xact_lock_shared", run.group_id)
    # Looked at after the lock is ours: whoever claims the run holds it alone until the claim is stored.
    if not _ours(run).exists():
        raise RunLost(f"The run of {run.week} is another worker's by now.")


def hold_group(group_id: UUID) -> None:
    """Wait until no other worker judges farms of this group, and keep it so until the transaction ends."""
    _lock("pg_advisory_xact_lock", group_id)


def _lock(kind: str, group_id: UUID) -> None:
    """Take the group's lock. Raises OperationalError where it takes too long: beat rings again, and others have a turn.

    It does where a machine was lost in the middle of a part, until PostgreSQL has missed it.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('lock_timeout', %s, true)", [PATIENCE])
        cursor.execute(f"SELECT {kind}({GROUP_LOCK})", [str(group_id)])
        cursor.execute("SELECT set_config('lock_timeout', '0', true)")


def _ours(run: CheckRun) -> QuerySet[CheckRun]:
    # The number of attempts is ours: whoever claimed it after us has a higher one.
    return CheckRun.objects.filter(id=run.id, state=RunState.RUNNING, attempts=run.attempts)
