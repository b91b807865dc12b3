"""The Monday list: an adviser's farms in its order. Only those whose consent names the adviser are on it.

Most of it is the same as a minute ago, so a farm's line is made anew only where something changed that it is made of.
"""

from collections.abc import Collection, Hashable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from alerts.selectors.farm_weeks import WEEK, WEEKS_TOLD, weeks_in_short
from alerts.selectors.listed import listed_of
from alerts.selectors.monday import MondayRow, order_of, row_of
from alerts.selectors.reasons import Proof, Reason
from alerts.selectors.row_versions import LINE_TOLD
from alerts.selectors.stopped_addresses import farms_not_reached
from alerts.selectors.told import farms_without_mail, told_of_farms
from alerts.wording.closures import call_instead
from farms.kept import kept_of_each
from farms.row_versions import CHAIN, CLOSURES, FARM_ITSELF, versions_of_farms
from farms.selectors import advised_farms
from farms.showing import shown
from monitoring.selectors.row_versions import ROUND_DUE

if TYPE_CHECKING:
    from farms.models import Farm, User

# What a line is made of. The chain stands for what may be much after some years: rounds, work, and what somebody did
# about an alert. What the check did about one stands in the alert too.
MADE_OF = (
    CHAIN,
    *FARM_ITSELF,
    *CLOSURES,
    *ROUND_DUE,
    *LINE_TOLD,
)


@dataclass(frozen=True)
class Placed:
    """A farm's line, and what places it in the list."""

    order: tuple[object, ...]
    row: MondayRow


def monday_rows(user: "User", week: date, *, day: date | None = None) -> list[MondayRow]:
    """An adviser's farms for a week, "call first" rows first, seen from `day` or else from the Monday after it."""
    farms = {farm.id: farm for farm in advised_farms(user)}
    placed = sorted(_placed(farms.values(), week, day or week + timedelta(days=7)), key=lambda each: each.order)
    ids, unreached = list(farms), farms_not_reached(list(farms))
    silent, told = farms_without_mail(ids, week), told_of_farms(ids, week)
    return [
        # The farm as it was read now: its region is no part of what a kept line is made of.
        replace(
            row,
            farm=farms[farm_id],
            reasons=(*row.reasons, *_reach(nobody=unreached.get(farm_id)), *_instead(row)),
            gets_mail=farm_id not in silent,
            told=told.get(farm_id),
        )
        for farm_id, row in ((each.row.farm.id, each.row) for each in placed)
    ]


def _placed(farms: Collection["Farm"], week: date, day: date) -> Collection[Placed]:
    by_id = {farm.id: farm for farm in farms}
    asked = {"first": week - (WEEKS_TOLD - 1) * WEEK, "week": week}
    shared = ("monday row", week, day, get_language(), shown())
    keys: dict[UUID, Hashable] = {
        farm_id: (*shared, farm_id, versions)
        for farm_id, versions in versions_of_farms(list(by_id), MADE_OF, asked).items()
    }
    return kept_of_each(keys, lambda ids: _made([by_id[farm_id] for farm_id in ids], week, day)).values()


def _made(farms: Sequence["Farm"], week: date, day: date) -> dict[UUID, Placed]:
    listed = listed_of([farm.id for farm in farms], week)
    weeks = [replace(each, listed=listed.get(each.farm.id, ())) for each in weeks_in_short(farms, week, day)]
    return {told.farm.id: Placed(order_of(told), row_of(told)) for told in weeks}


def _reach(*, nobody: bool | None) -> tuple[Reason, ...]:
    """What to know of the owners' mails. `nobody`: none of them gets any; None: all of them do."""
    if nobody is None:
        return ()
    told = _("mails to the owner don't arrive") if nobody else _("mails to one of the owners don't arrive")
    return (Reason(told, Proof.MAILS),)


def _instead(row: MondayRow) -> tuple[Reason, ...]:
    """Of a farm that is closed to visits: its place and reasons stay, and what to do is said behind them."""
    return (Reason(call_instead(), Proof.VISITS),) if row.closed else ()
