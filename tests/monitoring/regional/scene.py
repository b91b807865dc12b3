"""Invented farms of one region that agreed to be compared before the quarter began, with what they counted."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

from farms.ids import uuid7
from farms.models import Consent, Farm, Region
from farms.models.access import ConsentKind
from monitoring.models import RegionReport, WeeklySummary
from monitoring.regional import Edition, publish_week
from monitoring.regional.publish import ReportsHeld
from monitoring.regional.selectors import reports_of_region
from tests.cast import NOW, as_factory, as_role, make_farm, make_user

WEEK = date(2026, 5, 25)
DAYS = timedelta(days=1)
QUARTER = date(2026, 4, 1)
BEFORE = datetime(2026, 3, 1, tzinfo=UTC)
LEVELS = {"card": 100.0, "leg": 10.0}


def agree(farm: Farm, at: datetime = BEFORE) -> Consent:
    owner = make_user(f"Yes{farm.id.hex}")
    with as_factory():
        return Consent.objects.create(farm=farm, kind=ConsentKind.REGIONAL, given_by=owner, given_at=at, entry=1)


def withdraw(farm: Farm, at: datetime) -> None:
    with as_factory():
        Consent.objects.filter(farm_id=farm.id, kind=ConsentKind.REGIONAL).update(withdrawn_at=at)


def consenting_farms(region: Region, means: Sequence[float | None], week: date = WEEK) -> list[Farm]:
    """Farms of one holding each, all agreed, with their mean of the week; None is a week without a count."""
    farms = []
    for mean in means:
        # One owner each: who owns several sees several, and is guarded against.
        owner = make_user(f"Owner{uuid7().hex}")
        farms.append(make_farm(f"{region.slug} {owner.id}", region, owner))
        agree(farms[-1])
        summary(farms[-1], week, mean)
    return farms


def summary(farm: Farm, week: date, mean: float | None, method: str = "card") -> None:
    with as_factory():
        WeeklySummary.objects.create(
            farm=farm, method=method, week=week, stations=5, devices=5, missing=0, counted=500, days=35, animals=0,
            mean=mean, at_least=False, last_received_at=NOW,
        )  # fmt: skip


def publish(region: Region, week: date = WEEK, now: datetime = NOW, levels: dict[str, float] | None = None) -> int:
    """Publish as the cohort role. What the audit held back is raised after the transaction, which stands."""
    with as_role("cohort"):
        try:
            edition = Edition(week, levels or LEVELS, now, "test", using="default")
            return publish_week(group_id=region.group_id, edition=edition)
        except ReportsHeld as error:
            held = error
    raise held


def reports(region: Region, week: date = WEEK, part: str = "") -> dict[str, RegionReport]:
    with as_role("region"):
        found = reports_of_region(region.id, since=week, using="default")
        return {each.method: each for each in found if each.week == week and each.part == part}
