"""Who counts in a region for a quarter: the holdings that had agreed when it began, fixed at its first report.

Two cohorts that follow each other differ by none or by five holdings or more: the difference of two figures must never
be about fewer. So joiners wait, and where one to four have left the quarter gives words only.
"""

import hashlib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import connections

from farms.clock import quarter_of
from farms.ledger import canonical
from farms.models import Facility, Farm, Region
from farms.models.farm import FacilityKind
from monitoring.analysis.disclosure import NUMBERS_FROM
from monitoring.models import Cohort
from monitoring.models.region import WordsOnly

DIFFER_BY = 5  # holdings
Members = Mapping[UUID, UUID]
"""The farms that count, each with its holding."""

# Where cows live. A farm with several of these, or none, and a holding whose farms differ, is of the rest.
HOUSINGS = (
    FacilityKind.FREE_STALL_BARN, FacilityKind.TIE_STALL_BARN, FacilityKind.BEDDED_PACK, FacilityKind.DRY_LOT,
    FacilityKind.PASTURE,
)  # fmt: skip
REST = "rest"


@dataclass(frozen=True)
class Settled:
    """Who counts in a quarter, and why it gives words only ("" where it doesn't)."""

    members: Members
    words_only: str = ""


def cohort_of(region: Region, week: date, *, now: datetime, using: str) -> Cohort:
    """The region's cohort of the week's quarter, fixed now where it isn't yet."""
    quarter = quarter_of(week)
    cohorts = Cohort.objects.using(using)
    found = cohorts.filter(region_id=region.id, quarter=quarter).first()
    if found is not None:
        return found
    before = cohorts.filter(region_id=region.id, quarter=quarter_of(quarter - timedelta(days=1))).first()
    settled = settle(members_of(before) if before else {}, _agreed(region, quarter, using))
    # Another worker may have fixed it in this moment; the first one holds.
    cohorts.bulk_create([_cohort(region, quarter, settled, now, using)], ignore_conflicts=True)
    return cohorts.get(region_id=region.id, quarter=quarter)


def settle(before: Members, agreed: Members) -> Settled:
    """Who counts in a quarter, from who did in the one before (nobody, where it had no report) and who has agreed."""
    had, have = _by_holding(before), _by_holding(agreed)
    changed = {holding for holding in {*had, *have} if had.get(holding) != have.get(holding)}
    left = {holding for holding in changed if had.get(holding, frozenset()) - have.get(holding, frozenset())}
    if not had or not changed or len(changed) >= DIFFER_BY:
        return Settled(agreed)
    if not left:
        return Settled(before)
    still = {farm: holding for farm, holding in before.items() if agreed.get(farm) == holding}
    return Settled(still, WordsOnly.FEW_LEFT)


def members_of(cohort: Cohort) -> Members:
    """The cohort's farms, each with its holding; none where it was fixed under an older rule."""
    known = len(cohort.farm_holdings) == len(cohort.farms)
    return dict(zip(cohort.farms, cohort.farm_holdings, strict=True)) if known else {}


def still_there(cohort: Cohort, *, using: str) -> Members:
    """The cohort's members that are neither erased nor sold nor moved to another region; one gone means words only."""
    now = _holdings_of(cohort.farms, cohort.region_id, using)
    members = members_of(cohort) or now
    return {farm: holding for farm, holding in members.items() if now.get(farm) == holding}


def parts_of(cohort: Cohort) -> dict[UUID, str]:
    """Of which part of a split region each farm is; empty where the region isn't split in this quarter."""
    return dict(zip(cohort.farms, cohort.housing, strict=True)) if cohort.housing else {}


def cohort_hash(region_id: UUID, quarter: date, members: Members, housing: list[str]) -> bytes:
    """SHA-256 of a cohort's canonical JSON: two reports with one hash rest on the same members."""
    farms = sorted(members)
    holdings = [members[farm] for farm in farms]
    body = {"region": region_id, "quarter": quarter, "farms": farms, "holdings": holdings, "housing": housing}
    return hashlib.sha256(canonical(body)).digest()


def split_by_housing(members: Members, housing: Mapping[UUID, str]) -> dict[UUID, str]:
    """The part of each farm where the most common housing and the rest both have enough holdings; else none."""
    of_holding: dict[UUID, str] = {}
    for farm, holding in members.items():
        kind = housing.get(farm, REST)
        of_holding[holding] = kind if of_holding.get(holding, kind) == kind else REST
    counted = Counter(kind for kind in of_holding.values() if kind != REST)
    # By name where two are as common: the same farms always give the same split.
    most = min(counted, key=lambda kind: (-counted[kind], kind), default=REST)
    if min(counted[most], len(of_holding) - counted[most]) < NUMBERS_FROM:
        return {}
    return {farm: most if of_holding[holding] == most else REST for farm, holding in members.items()}


def _cohort(region: Region, quarter: date, settled: Settled, now: datetime, using: str) -> Cohort:
    farms = sorted(settled.members)
    split = region.split_by_housing and split_by_housing(settled.members, _housing_of(farms, using))
    housing = [split[farm] for farm in farms] if split else []
    return Cohort(
        region_id=region.id,
        quarter=quarter,
        holdings=sorted(set(settled.members.values())),
        farms=farms,
        farm_holdings=[settled.members[farm] for farm in farms],
        housing=housing,
        words_only=settled.words_only,
        hash=cohort_hash(region.id, quarter, settled.members, housing),
        made_at=now,
    )


def _by_holding(members: Members) -> dict[UUID, frozenset[UUID]]:
    # A holding with another farm more or less is another contributor: its mean is of other cows.
    found: dict[UUID, set[UUID]] = {}
    for farm, holding in members.items():
        found.setdefault(holding, set()).add(farm)
    return {holding: frozenset(farms) for holding, farms in found.items()}


def _agreed(region: Region, quarter: date, using: str) -> Members:
    """Who had agreed when the quarter began, by the group's clock."""
    began = datetime.combine(quarter, time.min, ZoneInfo(region.group.time_zone))
    with connections[using].cursor() as cursor:
        cursor.execute("SELECT agreed_by(%s, %s)", [region.id, began])
        agreed = cursor.fetchone()[0]
    return _holdings_of(agreed, region.id, using)


def _holdings_of(farm_ids: list[UUID], region_id: UUID, using: str) -> dict[UUID, UUID]:
    farms = Farm.objects.using(using).filter(region_id=region_id, id__in=farm_ids)
    return dict(farms.values_list("id", "holding_id"))


def _housing_of(farm_ids: list[UUID], using: str) -> dict[UUID, str]:
    """The one kind of housing that each farm's cows live in; left out where there are several or none."""
    kinds: dict[UUID, set[str]] = {}
    found = Facility.objects.using(using).filter(farm_id__in=farm_ids, kind__in=HOUSINGS)
    for farm, kind in found.values_list("farm_id", "kind"):
        kinds.setdefault(farm, set()).add(kind)
    return {farm: kind for farm, (kind, *more) in kinds.items() if not more}
