"""What is known of the running, counted by the worker for those who may see no farm: a row a group, in few queries.

However many groups there are, the queries are as many. What costs by the farm, the counts of a week that must match, is
counted until they have matched, and its mails once an hour after that.
"""

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import groupby
from operator import attrgetter
from typing import TYPE_CHECKING, Any, NamedTuple
from uuid import UUID

from django.db.models import Count, Exists, Min, OuterRef, Q, QuerySet, Subquery

from alerts.checks.calendar import WEEK, due_at, newest_due, weeks_of
from alerts.delivery.due_digests import goes_out_at, has_news
from alerts.delivery.refusals import PUT_OFF_BY_MAILBOX
from alerts.models import Alert, CheckFailure, CheckRun, Digest, Ring, Running
from alerts.models.check import RunState
from alerts.models.mail_day import MONDAY
from alerts.models.outbox import MIDWEEK, TABLES, DeliveryState, occasion_of, week_of
from alerts.rounds import Season
from alerts.selectors.mail_days import farms_with_mail_day, mail_days_of_farms
from alerts.selectors.running import RING, newest_runs
from alerts.selectors.webhooks import HookQueue, hook_queues
from farms.ids import moment_of
from farms.lookups import IdArray, array_of
from farms.selectors import farms_of_groups, groups, in_season, owned_since_before, season_spans_by_group
from monitoring.selectors import unfinished_imports

if TYPE_CHECKING:
    from farms.models import Farm, Group

SUNDAY = timedelta(days=6)
NOT_COUNTED = -1  # and so matching nothing
WATCHED = timedelta(weeks=60)
MAILS_COUNTED_AGAIN = timedelta(hours=1)
# The tick that writes mails rings every five minutes.
A_WHILE = timedelta(minutes=10)
# What a tick writes. Not `retry_asked_at`: a page may have written it since the row was read.
COUNTED = [field.name for field in Running._meta.fields if field.name not in ("group", "retry_asked_at")]


def note_running(now: datetime) -> list[Running]:
    """Count anew, store what has changed, and note that the bell was heard. Returns the rows of all groups."""
    every = list(groups())
    known = {row.group_id: row for row in Running.objects.all()}
    rows = [known.get(group.id) or Running(group_id=group.id) for group in every]
    before = {group_id: _values(row) for group_id, row in known.items()}
    had_mail = {row.group_id for row in rows if row.waiting or row.sending}
    _note_due(dict(zip(rows, every, strict=True)), now)
    _note_failures(rows)
    _note_waiting(rows)
    _note_imports(rows)
    _note_hooks(rows, now)
    _note_newest_week(rows, had_mail, now)
    changed = [row for row in rows if before.get(row.group_id) != _values(row)]
    Running.objects.bulk_create(changed, update_conflicts=True, unique_fields=["group"], update_fields=COUNTED)
    heard = Ring(name=RING, rung_at=now)
    Ring.objects.bulk_create([heard], update_conflicts=True, unique_fields=["name"], update_fields=["rung_at"])
    return rows


def retry_where_asked(now: datetime) -> int:
    """Make the farms that are set aside due at once, in groups whose coordinator asked for it. Returns how many."""
    due = 0
    for row in Running.objects.filter(retry_asked_at__isnull=False):
        farms = farms_of_groups([row.group_id]).values("id")
        due += CheckFailure.objects.filter(farm_id__in=farms, solved_at__isnull=True).update(retry_at=now)
        Running.objects.filter(group_id=row.group_id, retry_asked_at=row.retry_asked_at).update(retry_asked_at=None)
    return due


def _values(row: Running) -> tuple[Any, ...]:
    return tuple(getattr(row, name) for name in COUNTED)


def _note_due(rows: Mapping[Running, "Group"], now: datetime) -> None:
    """The first week that isn't judged: as `due_weeks` finds them, and the week after the newest one too.

    Of a little more than a year, so that a tick doesn't grow with the years: an older week that can't be judged stops
    those after it, since a group's weeks are judged in order, and so the next one is late within days.
    """
    since = now.date() - WATCHED
    spans = season_spans_by_group()
    open_alerts = Alert.objects.filter(closed_at__isnull=True).order_by()
    alerted = set(open_alerts.values_list("farm__group_id", flat=True).distinct())
    done: dict[UUID, set[date]] = {}
    runs = CheckRun.objects.filter(state=RunState.DONE, week__gte=since)
    for group_id, week in runs.values_list("group_id", "week"):
        done.setdefault(group_id, set()).add(week)
    for row, group in rows.items():
        newest = newest_due(group.time_zone, now)
        last = newest + WEEK
        weeks = {week for span in spans.get(group.id, ()) for week in weeks_of(Season(*span), last)}
        weeks |= {newest, last} if group.id in alerted else set()
        weeks = {week for week in weeks if week >= since}
        row.due_week = min(weeks - done.get(group.id, set()), default=None)
        row.due_at = due_at(row.due_week, group.time_zone) if row.due_week else None


def _note_failures(rows: Iterable[Running]) -> None:
    unsolved = CheckFailure.objects.filter(solved_at__isnull=True).order_by().values("farm__group_id")
    found: dict[UUID, Any] = {
        each["farm__group_id"]: each for each in unsolved.annotate(number=Count("week"), first=Min("retry_at"))
    }
    for row in rows:
        of_group = found.get(row.group_id)
        row.set_aside, row.retry_at = (of_group["number"], of_group["first"]) if of_group else (0, None)


def _note_waiting(rows: Iterable[Running]) -> None:
    """The mails that are on their way, of whatever week; the oldest of them that no mailbox of its own puts off."""
    states = [DeliveryState.QUEUED, DeliveryState.SENDING]
    own = Q(error__regex=PUT_OFF_BY_MAILBOX)  # also while it is tried again
    counted = (
        _by_group(mails.filter(state__in=states).annotate(put_off=own), "occasion", "put_off").annotate(
            number=Count("queued_at"), oldest=Min("queued_at")
        )
        for mails in _all_mails()
    )
    waiting = [_Waiting(*each) for each in next(counted).union(*counted, all=True)]
    found: dict[UUID, list[_Waiting]] = {}
    for each in waiting:
        found.setdefault(each.group_id, []).append(each)
    of_mailboxes = _of_mailboxes(waiting)
    for row in rows:
        of_group = found.get(row.group_id, [])
        row.waiting = sum(each.number for each in of_group if each.state == DeliveryState.QUEUED)
        row.sending = sum(each.number for each in of_group if each.state == DeliveryState.SENDING)
        row.oldest_mail_at = min((each.oldest for each in of_group if each not in of_mailboxes), default=None)


class _Waiting(NamedTuple):
    """Mails of one group, state and occasion; `put_off` by the mailbox they are for, or not."""

    group_id: UUID
    state: str
    occasion: str
    put_off: bool
    number: int
    oldest: datetime

    @property
    def beside(self) -> tuple[UUID, str]:
        """Group and occasion of the weekly mails that went out with it, or last before it."""
        week = week_of(self.occasion)
        return self.group_id, occasion_of(week - WEEK if self.occasion.endswith(MIDWEEK) else week)


def _of_mailboxes(waiting: Iterable[_Waiting]) -> set[_Waiting]:
    """Those that a full mailbox holds up, and no fault of ours: of the week's mails more have left than wait so."""
    put_off = [each for each in waiting if each.put_off]
    if not put_off:
        return set()
    held, left = Counter[tuple[UUID, str]](), Counter[tuple[UUID, str]]()
    for each in put_off:
        held[each.beside] += each.number
    asked = {"state": DeliveryState.SENT, "occasion__in": {occasion for _, occasion in held}}
    sent = (_by_group(mails.filter(**asked), "occasion") for mails in _all_mails(array_of({own for own, _ in held})))
    counted = (mails.annotate(number=Count("queued_at")) for mails in sent)
    for group_id, _, occasion, number in next(counted).union(*counted, all=True):
        left[group_id, occasion] += number
    return {each for each in put_off if held[each.beside] < left[each.beside]}


def _note_hooks(rows: Iterable[Running], now: datetime) -> None:
    queues = hook_queues(now)
    for row in rows:
        queue = queues.get(row.group_id, HookQueue())
        row.hooks, row.oldest_hook_at, row.hooks_failing = queue.waiting, queue.oldest_at, queue.failing


def _note_imports(rows: Iterable[Running]) -> None:
    found: dict[UUID, list[UUID]] = {}
    for group_id, import_id in unfinished_imports():
        found.setdefault(group_id, []).append(import_id)
    for row in rows:
        of_group = found.get(row.group_id, [])
        row.imports, row.oldest_import_at = len(of_group), moment_of(min(of_group)) if of_group else None


def _note_newest_week(rows: Sequence[Running], had_mail: Collection[UUID], now: datetime) -> None:
    """The counts of the newest week judged. A week that is new begins anew."""
    runs = newest_runs(state=RunState.DONE)
    for row in rows:
        run = runs.get(row.group_id)
        if run is not None and row.week != run.week:
            row.week, row.settled_at, row.mails_counted_at = run.week, None, None
            row.judged, row.failed, row.to_judge = run.farms - run.failures, run.failures, NOT_COUNTED
    for week, some in _by_week(row for row in rows if row.week and row.settled_at is not None):
        _note_later_days(week, [row for row in some if _goes_out(runs[row.group_id])], now)
    for week, some in _by_week(row for row in rows if row.week and row.settled_at is None):
        _note_matching(week, some, runs, now)
    for week, some in _by_week(
        row for row in rows if row.week and (row.group_id in had_mail or _mails_are_due(row, now))
    ):
        _note_mails(week, some, now)


def _by_week(rows: Iterable[Running]) -> Iterator[tuple[date, list[Running]]]:
    for week, some in groupby(sorted(rows, key=attrgetter("week")), key=attrgetter("week")):
        yield week, list(some)


def _note_later_days(week: date, rows: Sequence[Running], now: datetime) -> None:
    """Count a week again where a farm's own day has come since the counts matched, and its mail isn't written."""
    chosen = _with_mails(farms_with_mail_day([row.group_id for row in rows]), week)
    waiting = {farm.id: farm for farm in chosen.filter(owed=True, written=False)}
    come = {
        waiting[farm_id].group_id
        for farm_id, weekday in mail_days_of_farms(list(waiting)).items()
        if weekday != MONDAY and goes_out_at(waiting[farm_id].time_zone, week, weekday) <= now - A_WHILE
    }
    for row in rows:
        if row.group_id in come:
            row.settled_at = None


def _note_matching(week: date, rows: Sequence[Running], runs: Mapping[UUID, CheckRun], now: datetime) -> None:
    found = _expected(week, [row.group_id for row in rows], now)
    for row in rows:
        of_group = found.get(row.group_id, Expected())
        # Each count is kept once it has matched: mails of later days are counted when the farms long have been.
        if row.to_judge != row.judged + row.failed:
            row.to_judge = of_group.to_judge
        row.owed, row.written = (of_group.owed, of_group.written) if _goes_out(runs[row.group_id]) else (0, 0)
        matches = row.to_judge == row.judged + row.failed and row.owed == row.written
        row.settled_at = now if matches else None


def _goes_out(run: CheckRun) -> bool:
    """Mails go out for a week that was the newest when its run began, and for no other."""
    return run.started_at is not None and run.started_at < due_at(run.week + WEEK, run.group.time_zone)


@dataclass(frozen=True)
class Expected:
    """What a group's week asks for, as its farms are now."""

    to_judge: int = 0
    owed: int = 0
    written: int = 0


def _expected(week: date, group_ids: Collection[UUID], now: datetime) -> dict[UUID, Expected]:
    """Farms to judge, those of them whose owners get a mail by now, and those whose mail is written; by group."""
    # Out of season a farm is judged for what it had open; the run itself may have closed that.
    open_then = Q(closed_at__isnull=True) | Q(closed_week__gte=week)
    has_alerts = Exists(Alert.objects.filter(open_then, farm_id=OuterRef("id")))
    farms = farms_of_groups(group_ids).filter(in_season(week, week + SUNDAY) | has_alerts)
    rows = list(_with_mails(farms, week).values_list("group_id", "id", "time_zone", "owed", "written"))
    days = mail_days_of_farms([farm_id for _, farm_id, _, owed, written in rows if owed and not written])
    found: dict[UUID, Expected] = {}
    for group_id, farm_id, time_zone, owed, written in rows:
        by_now = owed and (farm_id not in days or goes_out_at(time_zone, week, days[farm_id]) <= now)
        known = found.get(group_id, Expected())
        found[group_id] = Expected(known.to_judge + 1, known.owed + by_now, known.written + (by_now and written))
    return found


def _with_mails(farms: "QuerySet[Farm]", week: date) -> QuerySet[Any]:
    """The farms with whether their owners are `owed` a week's mail on some day, and whether it is `written`."""
    began = CheckRun.objects.filter(group_id=OuterRef("group_id"), week=week).values("started_at")
    return farms.alias(began=Subquery(began)).annotate(
        owed=Q(owned_since_before("began")) & has_news(week),
        written=Exists(Digest.objects.filter(occasion=occasion_of(week), farm_id=OuterRef("id"))),
    )


def _mails_are_due(row: Running, now: datetime) -> bool:
    """Whether mails may have gone out since they were counted; refusals that come later are seen within the hour."""
    under_way = row.settled_at in (None, now) or row.waiting or row.sending
    return bool(under_way) or row.mails_counted_at is None or now - row.mails_counted_at >= MAILS_COUNTED_AGAIN


def _note_mails(week: date, rows: Sequence[Running], now: datetime) -> None:
    """The mails of a week that were sent or refused."""
    ids = array_of(row.group_id for row in rows)
    found: dict[tuple[UUID, str], int] = {}
    counted = (_by_group(mails.filter(occasion=occasion_of(week))) for mails in _all_mails(ids))
    numbers = (mails.annotate(number=Count("queued_at")) for mails in counted)
    for of_group, state, number in next(numbers).union(*numbers, all=True):
        found[of_group, state] = found.get((of_group, state), 0) + number
    for row in rows:
        row.sent = found.get((row.group_id, DeliveryState.SENT), 0)
        row.refused = found.get((row.group_id, DeliveryState.REFUSED), 0)
        row.mails_counted_at = now


def _all_mails(group_ids: IdArray | None = None) -> Iterator[QuerySet[Any]]:
    """What the outbox holds, table by table; of some groups, or of all."""
    for model in TABLES:
        mails: QuerySet[Any] = model._default_manager.order_by()
        own = "farm__group_id" if model is Digest else "group_id"
        yield mails if group_ids is None else mails.filter(**{f"{own}__any_of": group_ids})


def _by_group(mails: QuerySet[Any], *columns: str) -> QuerySet[Any]:
    return mails.values_list("farm__group_id" if mails.model is Digest else "group_id", "state", *columns)
