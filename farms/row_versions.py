"""Which versions of its rows a farm has: while they are the same, all that is made of them is the same.

PostgreSQL writes a changed row anew. Where a version lies and which transaction wrote it (the system columns ctid and
xmin) name it among all versions of its table: within a transaction two versions never lie in one place. So the number
of rows and the sum of their hashes tell what was read, in one query, without a row being fetched, whoever changed it
and by which way. They are read through row security: who sees other rows gets another answer. It is a sum and no XOR,
for a join may bring a row twice.
"""

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import connection, models

from farms.lookups import array_of
from farms.models import (
    Facility,
    Farm,
    FarmClosure,
    Group,
    GroupVisitRules,
    LastFarmVisited,
    LedgerHead,
    Membership,
    PlannedVisit,
    Region,
    RegionClosure,
    Season,
    User,
)


@dataclass(frozen=True)
class Rows:
    """Rows of a model that are looked at: those of which `where` (SQL) is true; t is the table.

    `of_farm`: whose they are; where that stands in another table, it is joined by `beside`.
    `only_added`: whoever may write them may only add some, so their number tells all, and none is looked at.
    """

    model: type[models.Model]
    where: str = "true"
    of_farm: str = "t.farm_id"
    beside: str = ""
    only_added: bool = False

    @property
    def table(self) -> str:
        return self.model._meta.db_table

    def versions(self, number: int) -> str:
        """Their query. `number`: of the table among those that are asked together."""
        version = "0" if self.only_added else f"hashtidextended(t.ctid, hashxidextended(t.xmin, {number}))"
        return (
            f"SELECT {self.of_farm} AS farm, {version} AS version"  # noqa: S608 - our own names
            f" FROM {self.table} t {self.beside} WHERE {self.of_farm} = ANY(%(farms)s::uuid[]) AND {self.where}"
        )


# The head stands for all that is never stored without an entry in the farm's chain.
CHAIN = Rows(LedgerHead)
OF_FARMS = "JOIN farms_farm f ON"
OF_REGION, OF_GROUP = f"{OF_FARMS} f.region_id = t.region_id", f"{OF_FARMS} f.group_id = t.group_id"
FARM_ITSELF = (Rows(Farm, of_farm="t.id"), Rows(Facility), Rows(Season))
CLOSURES = (
    Rows(FarmClosure),
    Rows(RegionClosure, of_farm="f.id", beside=OF_REGION),
)
NAMED = (
    Rows(Region, of_farm="f.id", beside=f"{OF_FARMS} f.region_id = t.id"),
    Rows(Group, of_farm="f.id", beside=f"{OF_FARMS} f.group_id = t.id"),
)
# Of those who ever were.
OF_PEOPLE = "JOIN farms_membership m ON m.user_id"
PEOPLE = (Rows(Membership), Rows(User, of_farm="m.farm_id", beside=f"{OF_PEOPLE} = t.id"))
PLANNED = (
    Rows(PlannedVisit),
    Rows(LastFarmVisited),
    Rows(User, of_farm="v.farm_id", beside="JOIN farms_plannedvisit v ON v.adviser_id = t.id"),
    Rows(GroupVisitRules, of_farm="f.id", beside=OF_GROUP),
)


def versions_of_farms(
    farm_ids: Iterable[UUID], rows: Sequence[Rows], asked: Mapping[str, Any] | None = None
) -> dict[UUID, Hashable]:
    """The versions of each farm's rows, told in their count and the sum of their hashes of 64 bits.

    `asked`: what the conditions name.
    """
    wanted = list(farm_ids)
    together = " UNION ALL ".join(some.versions(number) for number, some in enumerate(rows))
    sql = f"SELECT farm, count(*), sum(version::bigint) FROM ({together}) v GROUP BY farm"  # noqa: S608 - our own names
    with connection.cursor() as cursor:
        cursor.execute(sql, {"farms": array_of(wanted).text, **(asked or {})})
        found = {farm: (number, hashes) for farm, number, hashes in cursor.fetchall()}
    return {farm_id: found.get(farm_id) for farm_id in wanted}
