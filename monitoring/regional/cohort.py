"""Who counts in a region for a quarter: the holdings that consented when its first report was made."""

import hashlib
from datetime import date, datetime
from uuid import UUID

from django.db import connections

from farms.clock import quarter_of
from farms.ledger import canonical
from farms.models import Farm, Region
from monitoring.models import Cohort


def cohort_of(region: Region, week: date, *, now: datetime, using: str) -> Cohort:
    """The region's cohort of the week's quarter, fixed now where it isn't yet."""
    quarter = quarter_of(week)
    cohorts = Cohort.objects.using(using)
    found = cohorts.filter(region_id=region.id, quarter=quarter).first()
    if found is not None:
        return found
    members = _consenting(region.id, using)
    farms = sorted(members)
    holdings = sorted(set(members.values()))
    cohorts.bulk_create(
        [
            Cohort(
                region_id=region.id,
                quarter=quarter,
                holdings=holdings,
                farms=farms,
                hash=cohort_hash(region.id, quarter, holdings, farms),
                made_at=now,
            )
        ],
        # Another worker may have fixed it in this moment; the first one holds.
        ignore_conflicts=True,
    )
    return cohorts.get(region_id=region.id, quarter=quarter)


def cohort_hash(region_id: UUID, quarter: date, holdings: list[UUID], farms: list[UUID]) -> bytes:
    """SHA-256 of a cohort's canonical JSON: two reports with one hash rest on the same members."""
    body = {"region": region_id, "quarter": quarter, "holdings": holdings, "farms": farms}
    return hashlib.sha256(canonical(body)).digest()


def still_consenting(cohort: Cohort, *, using: str) -> dict[UUID, UUID]:
    """The cohort's farms that still consent, each with its holding. One gone means words only."""
    frozen = set(cohort.farms)
    return {farm: holding for farm, holding in _consenting(cohort.region_id, using).items() if farm in frozen}


def _consenting(region_id: UUID, using: str) -> dict[UUID, UUID]:
    # Row security shows the cohort role consenting farms only; the join says the same where it is off.
    with connections[using].cursor() as cursor:
        cursor.execute("SELECT cohort_farms()")
        consenting = cursor.fetchone()[0]
    farms = Farm.objects.using(using).filter(region_id=region_id, id__in=consenting)
    return dict(farms.values_list("id", "holding_id"))
