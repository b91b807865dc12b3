"""Erasing a whole farm: every row of every table, its name wherever it stands, and who belongs nowhere any more."""

import contextlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import IntegrityError, connections, transaction
from django.db.models import Q, QuerySet

from alerts.models import MondayList
from farms.models import (
    ErasedFarm,
    ErasureRequest,
    Farm,
    GroupInvitation,
    Holding,
    LedgerHead,
    Membership,
    User,
)
from farms.models.erasure import WAITS
from farms.tenancy.acting import erase_on_farm
from server.erasing.person import erase_account
from server.erasing.tables import delete_rows, farm_tables, rows_of


@dataclass(frozen=True)
class FarmGone:
    """What went with a farm, or would go: how many rows of which table, and how many people with it."""

    request_id: UUID
    rows: Mapping[str, int]
    people: int

    @property
    def total(self) -> int:
        return sum(self.rows.values())


def look_at_farm(farm_id: UUID, request_id: UUID, *, now: datetime, using: str) -> FarmGone | None:
    """What would go. None where the wish was taken back meanwhile."""
    with transaction.atomic(using=using):
        erase_on_farm(farm_id, using=using)
        farm = Farm.objects.using(using).filter(id=farm_id).first()
        if farm is None or not _due(farm_id, request_id, now, using).exists():
            return None
        found = {table: rows_of(table, farm_id, using=using) for table in farm_tables()}
        found |= {"farms_farm": 1, "alerts_mondaylist": _lists(farm_id, using).count()}
        found["farms_groupinvitation"] = _invitations(farm, using).count()
        return FarmGone(request_id, _some(found), len(_leaving(farm_id, using)))


def erase_farm(farm_id: UUID, request_id: UUID, *, now: datetime, using: str) -> FarmGone | None:
    """Erase a farm whose day has come, in one transaction. None where the wish was taken back meanwhile.

    Other farms' chains and proofs stay whole: what a day's signature needs of this farm, its leaf's hash, stands on the
    day without its id.
    """
    with transaction.atomic(using=using):
        # A holding that has other farms still must be refused here, not at the end of it all.
        with connections[using].cursor() as cursor:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        erase_on_farm(farm_id, using=using)
        # Whoever writes into the chain waits from here on, and finds no farm afterwards.
        head = LedgerHead.objects.using(using).select_for_update().filter(farm_id=farm_id).first()
        asked = _due(farm_id, request_id, now, using).first()
        if head is None or asked is None:
            return None
        farm = Farm.objects.using(using).get(id=farm_id)
        members = _members(farm_id, using)
        rows = {"alerts_mondaylist": _lists(farm_id, using).delete()[0]}
        rows["farms_groupinvitation"] = _invitations(farm, using).delete()[0]
        rows |= {table: delete_rows(table, farm_id, using=using) for table in farm_tables()}
        rows["farms_farm"] = Farm.objects.using(using).filter(id=farm_id).delete()[0]
        rows["farms_holding"] = _forget_holding(farm.holding_id, using)
        gone = _nowhere(members, using)
        for user_id in gone:
            erase_account(user_id, words=False, now=now, using=using)
        told = FarmGone(request_id, _some(rows), len(gone))
        ErasedFarm.objects.using(using).create(
            id=asked.id, group_id=farm.group_id, asked_at=asked.asked_at, erased_at=now, rows=told.total
        )
        return told


def _due(farm_id: UUID, request_id: UUID, now: datetime, using: str) -> QuerySet[ErasureRequest]:
    requests = ErasureRequest.objects.using(using).filter(WAITS, farm_id=farm_id, id=request_id)
    return requests.filter(person_id__isnull=True, due_at__lte=now)


def _lists(farm_id: UUID, using: str) -> QuerySet[MondayList]:
    """Advisers' lists that tell of the farm."""
    return MondayList.objects.using(using).filter(farm_ids__contains=[farm_id])


def _invitations(farm: Farm, using: str) -> QuerySet[GroupInvitation]:
    """By which the farm came into its group: they name it, and its owner."""
    named = Q(farm_name=farm.name) | Q(accepted_by_id__in=_members(farm.id, using))
    return GroupInvitation.objects.using(using).filter(named, group_id=farm.group_id).exclude(farm_name="")


def _members(farm_id: UUID, using: str) -> list[UUID]:
    """Everybody who ever had a role there."""
    found = Membership.objects.using(using).filter(farm_id=farm_id)
    return sorted(set(found.values_list("user_id", flat=True)))


def _leaving(farm_id: UUID, using: str) -> list[UUID]:
    """Who would belong nowhere without this farm, as far as it can be said while the farm is there."""
    lasting = Membership.objects.using(using).filter(farm_id=farm_id, ended_at__isnull=True)
    here = set(lasting.values_list("user_id", flat=True))
    members = _members(farm_id, using)
    nowhere = set(_nowhere(members, using))
    return [each for each in members if each in here or each in nowhere]


def _nowhere(user_ids: Sequence[UUID], using: str) -> list[UUID]:
    """Who of these has no role anywhere and is not of the office, but not those who are erased already."""
    with connections[using].cursor() as cursor:
        cursor.execute("SELECT belong_nowhere(%s::uuid[])", [list(user_ids)])
        found = cursor.fetchone()[0]
    users = User.objects.using(using).filter(id__in=found, is_staff=False, is_superuser=False, is_active=True)
    return list(users.order_by("id").values_list("id", flat=True))


def _forget_holding(holding_id: UUID, using: str) -> int:
    """The holding's name, where it has no other farm. Returns how many rows that are."""
    with contextlib.suppress(IntegrityError), transaction.atomic(using=using), connections[using].cursor() as cursor:
        # As SQL: Django would look for the farms that protect it, which this role doesn't see.
        cursor.execute(f"DELETE FROM {Holding._meta.db_table} WHERE id = %s", [holding_id])  # noqa: S608 - a model's table
        return int(cursor.rowcount)
    return 0


def _some(rows: Mapping[str, int]) -> dict[str, int]:
    return {table: number for table, number in sorted(rows.items()) if number}
