"""A group's weekly run that is disturbed, and the same farms in a group that is left in peace: what both end with."""

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
from django.db import connection
from django.db.models import Q, Sum

from alerts import monday as a_monday
from alerts.models import Alert, AlertEvent, Assessment, CheckRun, Digest, ListedRise, MondayList
from alerts.models.outbox import DeliveryState
from farms.ledger import verify_links
from farms.models import Consent, Farm, Group, GroupMember, Membership, Region, User
from farms.models.access import ConsentKind, FarmRole, GroupRole
from monitoring.analysis.simulated_farms import Network, simulate_farms
from monitoring.models import RegionReport
from tests.alerts.large_group import count_weeks, make_group_of, make_places
from tests.alerts.scene import monday
from tests.cast import as_factory

BEGAN = datetime(2026, 4, 1, tzinfo=UTC)
FORGETFUL, COUNTED = 8, 7  # farms that walk no more after so many weeks, so that rounds are overdue
ADVISED = 20  # farms on the adviser's list
NETWORK = Network(stations=5, shock=0.3, k=1.5, level=85.0)
NAMES = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
RESULT = (
    "week",
    "method",
    "revision",
    "mean",
    "low",
    "high",
    "result",
    "trend",
    "growth",
    "p_rise",
    "p_fall",
    "borrowed",
)
ALERT = ("method", "rule", "episode", "opened_week", "closed_week", "closed_because")


def make_valley(name: str, farms: int, weeks: int) -> Group:
    """A group of farms, each with its owner, an adviser for some, and counts that rise and fall: the same each time."""
    slug = name.lower()
    with as_factory():
        group = Group.objects.create(name=name, slug=slug, time_zone="America/Chicago")
        region = Region.objects.create(group=group, name=name, slug=slug)
    made = make_group_of(region, farms)
    with as_factory():
        owners = User.objects.bulk_create(
            User(email=f"owner{number}.{slug}@example.org", name=f"Owner {number}") for number in range(farms)
        )
        Membership.objects.bulk_create(
            Membership(farm=farm, user=owner, role=FarmRole.OWNER, began_at=BEGAN)
            for farm, owner in zip(made, owners, strict=True)
        )
        _let_in(group, made, owners)
    _count(made, weeks)
    return group


def _let_in(group: Group, farms: Sequence[Farm], owners: Sequence[User]) -> None:
    """The adviser of some, and the regional comparison for all."""
    adviser = User.objects.create_user(f"adviser.{group.slug}@example.org", name="Adviser")
    GroupMember.objects.create(group=group, user=adviser, role=GroupRole.ADVISER)
    for number, (farm, owner) in enumerate(zip(farms, owners, strict=True)):
        said: dict[str, Any] = {"farm": farm, "given_by": owner, "given_at": BEGAN, "entry": 0}
        # Who agrees counts from the next quarter on.
        Consent.objects.create(kind=ConsentKind.REGIONAL, **said | {"given_at": BEGAN - timedelta(days=120)})
        if number < ADVISED:
            Consent.objects.create(kind=ConsentKind.ADVISER, adviser=adviser, **said)


def _count(farms: Sequence[Farm], weeks: int) -> None:
    cards = make_places(farms, "card", NETWORK.stations)
    swings = 0.8 * np.sin(2 * np.pi * (np.arange(weeks) / 10 + np.arange(len(farms))[:, None] / 7))
    drawn = simulate_farms(np.random.default_rng(5), NETWORK, len(farms), weeks, swings).counts
    mondays = [monday(number) for number in range(weeks)]
    count_weeks(cards[:-FORGETFUL], mondays, drawn[:-FORGETFUL])
    count_weeks(cards[-FORGETFUL:], mondays[:COUNTED], drawn[-FORGETFUL:])


def in_peace(group: Group, now: datetime, *, sent: bool) -> list[date]:
    """A group's due weeks, judged by this process; their mails count as sent where nobody is to have them."""
    with connection.cursor() as cursor:
        cursor.execute("SET ROLE flyround_worker")
    try:
        done = a_monday.check_group(group, now)
    finally:
        with connection.cursor() as cursor:
            cursor.execute("RESET ROLE")
    if sent:
        with as_factory():
            Digest.objects.filter(farm__group=group).update(state=DeliveryState.SENT)
            MondayList.objects.filter(group=group).update(state=DeliveryState.SENT)
    return done


@dataclass
class Mailroom:
    """An SMTP handler that counts what it takes by Message-ID."""

    taken: Counter[str] = field(default_factory=Counter)

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802 - aiosmtpd's name
        [found] = re.findall(rb"(?im)^message-id: *<([^>]+)>", envelope.content.split(b"\r\n\r\n")[0])
        self.taken[found.decode()] += 1
        return "250 Taken"

    @property
    def twice(self) -> int:
        """Mails that were taken once more than needed, counted each time."""
        return sum(times - 1 for times in self.taken.values())


@dataclass(frozen=True)
class EndState:
    """All that a group's runs left, by names, without what differs from one group to the next: ids and moments."""

    results: list[Any]
    alerts: list[Any]
    events: list[Any]
    mails: list[Any]
    lists: list[Any]
    named: list[Any]
    reports: list[Any]
    broken_chains: list[str]


def end_state(group: Group) -> EndState:
    farms = {"farm__group_id": group.id}
    with as_factory():
        named = dict(Farm.objects.filter(group=group).values_list("id", "name"))
        told = {row.id: _columns(row, named, ALERT) for row in Alert.objects.filter(**farms)}
        events = AlertEvent.objects.filter(**farms)
        reports = RegionReport.objects.filter(region__group=group)
        return EndState(
            results=_sorted(_columns(row, named, RESULT) for row in Assessment.objects.filter(**farms)),
            alerts=_sorted(told.values()),
            events=_sorted((*told[row.alert_id], row.week, row.kind, _plain(row.evidence)) for row in events),
            mails=_sorted(_told(row, named[row.farm_id], group) for row in Digest.objects.filter(**farms)),
            lists=_sorted(_told(row, "", group) for row in MondayList.objects.filter(group=group)),
            named=_sorted(_columns(row, named, ("method", "week")) for row in ListedRise.objects.filter(**farms)),
            reports=_sorted(reports.values_list("week", "method", "disclosure", "mean")),
            broken_chains=[name for farm, name in named.items() if verify_links(farm)],
        )


def _sorted(rows: Iterable[Any]) -> list[Any]:
    return sorted(rows, key=repr)


def _columns(row: Any, named: Any, columns: Sequence[str]) -> tuple[Any, ...]:
    place = getattr(row, "facility_id", None) is not None
    return (named[row.farm_id], place, *(getattr(row, column) for column in columns))


def _told(row: Digest | MondayList, farm: str, group: Group) -> tuple[str, ...]:
    return farm, row.occasion, row.subject, _plain(row.text).replace(group.name, "the group")


def _plain(told: Any) -> str:
    return NAMES.sub("an id", " ".join(str(told).split()))


def runs_left(group: Group, week: date) -> bool:
    """Whether a week is not done yet, or a mail of it not sent."""
    waiting = {"state__in": [DeliveryState.QUEUED, DeliveryState.SENDING]}
    with as_factory():
        return (
            not CheckRun.objects.filter(group=group, week=week, state="done").exists()
            or Digest.objects.filter(farm__group=group, **waiting).exists()
            or MondayList.objects.filter(group=group, **waiting).exists()
        )


def attempts(group: Group, week: date) -> tuple[int, int]:
    """How often the week's run was claimed, and its mails were. Grows when a worker has begun with something."""
    with as_factory():
        runs = CheckRun.objects.filter(group=group, week=week).values_list("attempts", flat=True)
        mails = Digest.objects.filter(farm__group=group).aggregate(Sum("attempts"))
        return sum(runs), mails["attempts__sum"] or 0


def waits_for_time(group: Group, week: date, now: datetime) -> bool:
    """Whether something is left that nobody may take before a later hour."""
    later = Q(lease_until__gt=now) | Q(state=DeliveryState.QUEUED, next_try_at__gt=now)
    with as_factory():
        return (
            CheckRun.objects.filter(group=group, week=week, lease_until__gt=now).exists()
            or Digest.objects.filter(later, farm__group=group).exists()
            or MondayList.objects.filter(later, group=group).exists()
        )
