"""How long records are kept, by kind: what is usual, what a group chose, and what may not be shorter.

Counts, work, results and the chain are kept for as long as the farm is here. docs/farm-data.md has all of it in words.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from farms.models import Group, GroupRetention
from farms.models.retention import KeptKind

LONGEST = 600  # months


@dataclass(frozen=True)
class Kept:
    """How many months a kind is kept where nobody chose, and the fewest that may be chosen."""

    usual: int
    least: int


KEPT: Mapping[KeptKind, Kept] = {
    # Three years: a season is compared with the two before it (common practice, no source).
    KeptKind.NOTES: Kept(usual=36, least=1),
    KeptKind.PHOTOS: Kept(usual=24, least=1),
    # Two years from the application in the United States for restricted-use products (7 CFR 110.3), three in the
    # European Union for professional users (Regulation (EC) No 1107/2009, Article 67); both from memory.
    KeptKind.APPLICATORS: Kept(usual=36, least=24),
    KeptKind.MAILS: Kept(usual=24, least=3),
    # Long enough to look up who came in a season ago (common practice, no source).
    KeptKind.LOG: Kept(usual=24, least=12),
}


def months_kept(group_id: UUID, *, using: str = "default") -> dict[KeptKind, int | None]:
    """For how many months each kind is kept in a group now; None: for as long as the farm is here."""
    rows = GroupRetention.objects.using(using).filter(group_id=group_id).order_by("set_at", "id")
    chosen = {KeptKind(kind): months for kind, months in rows.values_list("kind", "months")}
    return {kind: chosen.get(kind, each.usual) for kind, each in KEPT.items()}


def chosen_in(group: Group) -> list[GroupRetention]:
    """Everything that was ever set in a group, newest first."""
    rows = GroupRetention.objects.filter(group=group).select_related("set_by")
    return list(rows.order_by("-set_at", "-id"))


def months_before(now: datetime, months: int) -> datetime:
    """The same day and time some months ago; the month's last day where it has no such day.

    >>> from datetime import UTC
    >>> months_before(datetime(2026, 3, 31, 12, tzinfo=UTC), 1).isoformat()
    '2026-02-28T12:00:00+00:00'
    """
    year, month = divmod(now.year * 12 + now.month - 1 - months, 12)
    day = now.day
    while True:
        try:
            return now.replace(year=year, month=month + 1, day=day)
        except ValueError:
            day -= 1
