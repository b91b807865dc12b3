"""The Monday list: an adviser's farms in its order. Only those whose consent names the adviser are on it.

Most of it is the same as a minute ago, so a farm's line is made anew only where something changed that it is made of.
"""

from collections.abc import Hashable, Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from alerts.models.outbox import occasion_of
from alerts.selectors.farm_weeks import WEEK, WEEKS_TOLD, weeks_in_short
from alerts.selectors.listed import listed_of
from alerts.selectors.monday import MondayRow, order_of, row_of
from alerts.selectors.reasons import Proof, Reason
from alerts.selectors.row_versions import LINE_TOLD
from alerts.selectors.stopped_addresses import farms_not_reached
from alerts.selectors.told import farms_without_mail, told_of_farms
from alerts.wording.closures import call_instead
from farms.kept import kept_of_each
from farms.lookups import array_of
from farms.row_versions import CHAIN, CLOSURES, FARM_ITSELF, NAMED, PEOPLE, versions_of_farms
from farms.selectors import advised_farms
from farms.showing import shown
from monitoring.selectors.row_versions import ROUND_DUE

if TYPE_CHECKING:
    from farms.models import Farm, User

# What a line is made of. The chain stands for what may be much after some years: rounds, work, and what somebody did
# about an alert. What the check did about one stands in the alert too.
MADE_OF = (CHAIN, *FARM_ITSELF, *NAMED, *PEOPLE, *CLOSURES, *ROUND_DUE, *LINE_TOLD)


@dataclass(frozen=True)
class Placed:
    """A farm's line, and what places it in the list."""

    order: tuple[object, ...]
    row: MondayRow


def monday_rows(user: "User", week: date, *, day: date | None = None) -> list[MondayRow]:
    """An adviser's farms for a week, "call first" rows first, seen from `day` or else from the Monday after it."""
    seen_from = day or week + timedelta(days=7)
    asked = {"first": week - (WEEKS_TOLD - 1) * WEEK, "week": week, "occasion": occasion_of(week)}
    shared = ("monday row", week, seen_from, get_language(), shown())
    farms = advised_farms(user)
    keys: dict[UUID, Hashable] = {
        farm_id: (*shared, farm_id, versions)
        for farm_id, versions in versions_of_farms(farms.values_list("id", flat=True), MADE_OF, asked).items()
    }
    placed = kept_of_each(keys, lambda ids: _made(farms.filter(id__any_of=array_of(ids)), week, seen_from))
    return [each.row for each in sorted(placed.values(), key=lambda each: each.order)]


def _made(farms: Iterable["Farm"], week: date, day: date) -> dict[UUID, Placed]:
    farms = list(farms)
    ids = [farm.id for farm in farms]
    listed, unreached = listed_of(ids, week), farms_not_reached(ids)
    silent, told = farms_without_mail(ids, week), told_of_farms(ids, week)
    weeks = [replace(each, listed=listed.get(each.farm.id, ())) for each in weeks_in_short(farms, week, day)]
    return {
        farm_id: Placed(
            order_of(seen),
            replace(
                row,
                reasons=(*row.reasons, *_reach(nobody=unreached.get(farm_id)), *_instead(row)),
                gets_mail=farm_id not in silent,
                told=told.get(farm_id),
            ),
        )
        for farm_id, seen, row in ((seen.farm.id, seen, row_of(seen)) for seen in weeks)
    }


def _reach(*, nobody: bool | None) -> tuple[Reason, ...]:
    """What to know of the owners' mails. `nobody`: none of them gets any; None: all of them do."""
    if nobody is None:
        return ()
    told = _("mails to the owner don't arrive") if nobody else _("mails to one of the owners don't arrive")
    return (Reason(told, Proof.MAILS),)


def _instead(row: MondayRow) -> tuple[Reason, ...]:
    """Of a farm that is closed to visits: its place and reasons stay, and what to do is said behind them."""
    return (Reason(call_instead(), Proof.VISITS),) if row.closed else ()
