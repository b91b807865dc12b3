"""Which versions of its rows a farm has: while they are the same, all that is made of them is the same.

PostgreSQL writes a changed row anew. Where a version lies and which transaction wrote it (the system columns ctid and
xmin) name it among all versions of its table: within a transaction two versions never lie in one place. So the number
of rows and their hashes, brought together by XOR, tell what was read, in one query, without a row being fetched,
whoever changed it and by which way. They are read through row security: who sees other rows gets another answer.
"""

from collections.abc import Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import connection, models

from farms.lookups import array_of
from farms.models import (
    Facility,
    Farm,
    FarmClosure,
    GroupVisitRules,
    LastFarmVisited,
    LedgerHead,
    PlannedVisit,
    RegionClosure,
    Season,
    User,
)


@dataclass(frozen=True)
class Rows:
    """Rows of a model that are looked at: those of which `where` (SQL) is true; t is the table.

    `of_farm`: whose they are; where that stands in another table, it is joined by `beside`.
    """

    model: type[models.Model]
    where: str = "true"
    of_farm: str = "t.farm_id"
    beside: str = ""

    @property
    def table(self) -> str:
        return self.model._meta.db_table

    def versions(self, number: int) -> str:
        """Their query. `number`: of the table among those that are asked together."""
        return (
            f"SELECT {self.of_farm} AS farm,"  # noqa: S608 - our own names
            f" hashtidextended(t.ctid, hashxidextended(t.xmin, {number})) AS version"
            f" FROM {self.table} t {self.beside} WHERE {self.of_farm} = ANY(%(farms)s::uuid[]) AND {self.where}"
        )


# The head stands for all that is never stored without an entry in the farm's chain.
CHAIN = Rows(LedgerHead)
OF_REGION, OF_GROUP = "JOIN farms_farm f ON f.region_id = t.region_id", "JOIN farms_farm f ON f.group_id = t.group_id"
FARM_ITSELF = (Rows(Farm, of_farm="t.id"), Rows(Facility), Rows(Season))
CLOSURES = (
    Rows(FarmClosure),
    Rows(RegionClosure, of_farm="f.id", beside=OF_REGION),
)
PLANNED = (
    Rows(PlannedVisit),
    Rows(LastFarmVisited),
    Rows(User, of_farm="v.farm_id", beside="JOIN farms_plannedvisit v ON v.adviser_id = t.id"),
    Rows(GroupVisitRules, of_farm="f.id", beside=OF_GROUP),
)


def versions_of_farms(
    farm_ids: Collection[UUID], rows: Sequence[Rows], asked: Mapping[str, Any] | None = None
) -> dict[UUID, Hashable]:
    """The versions of each farm's rows, told in their count and one number of 64 bits.

    `asked`: what the conditions name.
    """
    together = " UNION ALL ".join(some.versions(number) for number, some in enumerate(rows))
    sql = f"SELECT farm, count(*), bit_xor(version) FROM ({together}) v GROUP BY farm"  # noqa: S608 - our own names
    with connection.cursor() as cursor:
        cursor.execute(sql, {"farms": array_of(farm_ids).text, **(asked or {})})
        found = {farm: (number, hashes) for farm, number, hashes in cursor.fetchall()}
    return {farm_id: found.get(farm_id) for farm_id in farm_ids}
