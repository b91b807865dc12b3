"""What results borrow from a group's figures of a quarter, and how unevenly flies sit on its animals."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING
from uuid import UUID

from alerts.models import BorrowedFigures
from alerts.selectors.results import week_result
from farms.clock import local_date, quarter_of
from monitoring.analysis.leg_scatter import INFERRED, K_OF_LEGS, OWN
from monitoring.methods import LEG, METHODS

if TYPE_CHECKING:
    from alerts.models import Assessment
    from farms.models import Farm, Group


@dataclass(frozen=True)
class Lent:
    """What one method's result rests on beside the farm's own weeks.

    `name` is as the result stores it, the quarter and the version, or "printed"; `figures` is the stored row of that
    name, None where the printed figures were used.
    """

    method: str
    name: str
    figures: BorrowedFigures | None


@dataclass(frozen=True)
class KOfLegs:
    """`k` of the flies on an animal's legs (variance m + m^2/k), and where it comes from: "own" or "inferred"."""

    k: float
    source: str


def figures_of_group(group_id: UUID, week: date) -> dict[str, BorrowedFigures | None]:
    """By method the stored row of the week's quarter, its newest version; None where nothing was fitted yet.

    A row whose figures are empty says that too few holdings had counted long enough, and how many.
    """
    rows = BorrowedFigures.objects.filter(group_id=group_id, quarter=quarter_of(week)).order_by("version")
    newest = {row.method: row for row in rows}
    return {method: newest.get(method) for method in METHODS}


def figures_of_results(farm: "Farm", week: date) -> list[Lent]:
    """What the farm's results of a week borrow, one a method that was judged and says what it rests on."""
    return figures_lent(farm, [row for row in week_result(farm, week) if row.facility_id is None])


def figures_lent(
    farm: "Farm", results: "Iterable[Assessment]", known: Iterable[BorrowedFigures | None] = ()
) -> list[Lent]:
    """The same of results of the whole farm that were read already; `known` as for `figures_named`."""
    names = {row.method: row.borrowed for row in results if row.borrowed}
    figures = figures_named(farm.group_id, names.items(), known)
    return [Lent(method, names[method], figures.get((method, names[method]))) for method in METHODS if method in names]


def figures_named(
    group_id: UUID, names: Iterable[tuple[str, str]], known: Iterable[BorrowedFigures | None] = ()
) -> dict[tuple[str, str], BorrowedFigures]:
    """The stored rows of a group that results name, by method and name. The printed figures have no row.

    `known`: rows that were read already; where all that are named are among them, nothing is asked.
    """
    found = {(row.method, row.name): row for row in known if row is not None}
    quarters = {day for named in names if named not in found and (day := _quarter_in(named[1])) is not None}
    if quarters:
        rows = BorrowedFigures.objects.filter(group_id=group_id, quarter__in=quarters)
        found |= {(row.method, row.name): row for row in rows}
    return {named: row for named, row in found.items() if row.scatter is not None}


def _quarter_in(name: str) -> date | None:
    """The quarter in a name such as 2026-07-01/1; None in "printed"."""
    day, slash, _version = name.partition("/")
    return date.fromisoformat(day) if slash else None


class LegFigures:
    """How unevenly flies sit on a group's animals, for any day, read once."""

    def __init__(self, group: "Group") -> None:
        rows = BorrowedFigures.objects.filter(group_id=group.id, method=LEG.code).order_by("-fitted_at", "-version")
        self.known = [(local_date(fitted_at, group.time_zone), k) for fitted_at, k in rows.values_list(*_FITTED)]

    def on(self, day: date) -> KOfLegs:
        """The k that leg counts of a day are planned with and told by.

        From the group's own leg counts (30 or more, of 30 or more holdings) by the last figures that were fixed before
        the day, so that what was said while counting stands; else 1.4, which is our own inference.
        """
        k = next((k for fixed_on, k in self.known if fixed_on < day), None)
        return KOfLegs(K_OF_LEGS, INFERRED) if k is None else KOfLegs(k, OWN)


_FITTED = ("fitted_at", "leg_k")


def k_of_legs(group: "Group", day: date) -> KOfLegs:
    """The k that a group's leg counts of a day are planned with; see `LegFigures`."""
    return LegFigures(group).on(day)
