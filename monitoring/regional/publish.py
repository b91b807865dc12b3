"""The weekly region reports of a group: worked out once, gated, audited, stored, never changed.

A region at a time, in one transaction: what its farms contributed is frozen with the reports, or with the note that the
audit held them back; a later try works from what was frozen then.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from uuid import UUID

from django.db import connections, transaction
from django.db.models import QuerySet

from farms.models import Region
from monitoring.analysis.disclosure import RULE_VERSION
from monitoring.methods import METHODS
from monitoring.models import Cohort, Contribution, HeldReport, RegionReport
from monitoring.regional.audit import Published, reason_to_hold
from monitoring.regional.cells import Asked, Cell, cells_of
from monitoring.regional.cohort import Members, cohort_of, parts_of, still_there
from monitoring.regional.contributions import Contributors, contributors_of, rows_of, watching
from monitoring.regional.usual_band import UsualBands, usual_bands

ROWS_AT_ONCE = 2_000
HELD = -1


class ReportsHeld(Exception):
    """The audit held some regions' reports back; the others are published."""


@dataclass(frozen=True)
class Edition:
    """What all reports of one run have in common.

    `week` is its Monday; `levels` maps a method's code to the group's action level, and a method without one gives no
    report; `now` is the cut-off: what arrives later changes the farm's own pages, never a report.
    """

    week: date
    levels: Mapping[str, float]
    now: datetime
    code_version: str
    using: str = "cohort"


@dataclass(frozen=True)
class RegionWeek:
    """A region's cohort and those of it that are still there; what is usual; who sees several farms anyway."""

    cohort: Cohort
    members: Members
    usual: UsualBands
    seen: Sequence[Sequence[UUID]]

    @cached_property
    def parts(self) -> dict[UUID, str]:
        """Of which part each farm is; empty where the region isn't split."""
        return parts_of(self.cohort)

    @property
    def words_only(self) -> bool:
        return bool(self.cohort.words_only) or len(self.members) < len(self.cohort.farms)


def publish_week(*, group_id: UUID, edition: Edition, keep: Callable[[], object] = lambda: None) -> int:
    """Publish those of the group's region reports that aren't published yet. `keep` is called after each region.

    Returns how many reports were stored; raises ReportsHeld, after all regions, where the audit held some back.
    """
    stored, held = 0, 0
    regions = Region.objects.using(edition.using).filter(group_id=group_id).select_related("group")
    for region in regions.order_by("slug"):
        with transaction.atomic(using=edition.using):
            made = _publish_region(region, edition)
        stored, held = stored + max(made, 0), held + (made == HELD)
        keep()
    if held:
        raise ReportsHeld(f"The audit held back the reports of {held} of the group's regions.")
    return stored


def _publish_region(region: Region, edition: Edition) -> int:
    _alone(region, edition)
    reports = RegionReport.objects.using(edition.using).filter(region_id=region.id, week=edition.week)
    levels = {method: edition.levels[method] for method in edition.levels if method not in _published(reports)}
    if not levels:
        return 0
    week = _region_week(region, edition)
    members = week.members
    found = contributors_of(members, edition.week, levels, now=edition.now, using=edition.using)
    made: list[RegionReport] = []
    reasons = []
    for method, contributors in found.items():
        of_method, reason = _method(method, contributors, week, edition)
        made += of_method
        reasons.append(reason)
    return _store(region, made, next(filter(None, reasons), ""), edition)


def _published(reports: QuerySet[RegionReport]) -> set[str]:
    return set(reports.values_list("method", flat=True))


def _alone(region: Region, edition: Edition) -> None:
    """Wait for whoever publishes the same region: what is frozen and what is published must be of one moment."""
    with connections[edition.using].cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [f"region report {region.id}"])


def _region_week(region: Region, edition: Edition) -> RegionWeek:
    cohort = cohort_of(region, edition.week, now=edition.now, using=edition.using)
    members = still_there(cohort, using=edition.using)
    usual = usual_bands(region.id, edition.week, using=edition.using)
    return RegionWeek(cohort, members, usual, _seen_together(members, edition.using))


def _seen_together(members: Members, using: str) -> list[list[UUID]]:
    with connections[using].cursor() as cursor:
        cursor.execute("SELECT farms FROM seen_together(%s)", [list(members)])
        return [farms for (farms,) in cursor.fetchall()]


def _method(
    method: str, contributors: Contributors, week: RegionWeek, edition: Edition
) -> tuple[list[RegionReport], str]:
    """One method's reports, frozen contributions stored, and why they must be held back, if they must."""
    at_least = METHODS[method].comparison == "at_least"
    watchers = watching(contributors, week.members, week.seen)
    of_holding = {week.members[farm]: part for farm, part in week.parts.items() if farm in week.members}
    parts = [of_holding[holding] for holding in contributors.holdings] if of_holding else []
    cells = cells_of(contributors, parts, Asked(edition.levels[method], at_least, week.words_only, watchers))
    reports = [_report(cell, method, contributors, week, edition) for cell in cells]
    if not contributors.frozen_before:
        _freeze(method, contributors, cells, week, edition)
    published = [
        Published(report, cell.members, cell.tells_thirds, at_least)
        for report, cell in zip(reports, cells, strict=True)
    ]
    return reports, reason_to_hold(contributors, published, watchers)


def _freeze(method: str, contributors: Contributors, cells: Sequence[Cell], week: RegionWeek, edition: Edition) -> None:
    thirds = {
        contributors.holdings[place]: int(third)
        for cell in cells
        if cell.tells_thirds
        for place, third in zip(cell.members.nonzero()[0].tolist(), cell.release.thirds, strict=True)
    }
    told = {cell.part for cell in cells if cell.part and cell.tells_thirds}
    parts = {farm: part for farm, part in week.parts.items() if part in told}
    rows = rows_of(
        contributors, week.members, parts, thirds, method=method, week=edition.week, region_id=week.cohort.region_id
    )
    Contribution.objects.using(edition.using).bulk_create(rows, batch_size=ROWS_AT_ONCE)


def _store(region: Region, made: list[RegionReport], reason: str, edition: Edition) -> int:
    """All of a region's week or nothing: one method's figures are no better for another's having passed."""
    if reason:
        held = HeldReport(region_id=region.id, week=edition.week, reason=reason, held_at=edition.now)
        HeldReport.objects.using(edition.using).bulk_create([held], ignore_conflicts=True)
        return HELD
    RegionReport.objects.using(edition.using).bulk_create(made)
    return len(made)


def _report(cell: Cell, method: str, contributors: Contributors, week: RegionWeek, edition: Edition) -> RegionReport:
    told, normal = cell.release, cell.normal
    usual, usual_normal = week.usual.of(method, cell.part)
    growth, growth_low, growth_high = cell.growth
    return RegionReport(
        region_id=week.cohort.region_id, method=method, week=edition.week, part=cell.part,
        disclosure=told.disclosure, contributors=told.contributors, mean=told.mean, middle=told.middle,
        share_over=told.share_over, share_rising=cell.share_rising, word=told.word,
        normal=normal.ratio, normal_middle=normal.middle, normal_share=normal.share_above,
        growth=growth, growth_low=growth_low, growth_high=growth_high,
        usual_low=usual[0], usual_high=usual[1], usual_normal_low=usual_normal[0], usual_normal_high=usual_normal[1],
        level=edition.levels[method], cutoff_at=contributors.frozen_at, published_at=edition.now,
        cohort_hash=week.cohort.hash, rule_version=RULE_VERSION, code_version=edition.code_version,
    )  # fmt: skip
