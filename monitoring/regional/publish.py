"""The weekly region reports of a group: computed once, gated, stored, never changed."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db import transaction

from farms.models import Region
from monitoring.analysis.disclosure import RULE_VERSION, release
from monitoring.methods import METHODS
from monitoring.models import Cohort, RegionReport, WeeklySummary
from monitoring.regional.cohort import cohort_of, still_consenting


@dataclass(frozen=True)
class Edition:
    """What all reports of one run have in common."""

    week: date
    levels: Mapping[str, float]
    now: datetime
    code_version: str
    using: str


def publish_week(
    *, group_id: UUID, week: date, levels: Mapping[str, float], now: datetime, code_version: str, using: str = "cohort"
) -> int:
    """Publish the group's region reports of an ISO week (its Monday) that aren't published yet.

    `levels` maps a method's code to the group's action level; a method without a level gives no report. Returns
    how many reports were stored. `now` is the cut-off: what arrives later changes the farm's own pages, never a report.
    """
    edition = Edition(week, levels, now, code_version, using)
    with transaction.atomic(using=using):
        regions = Region.objects.using(using).filter(group_id=group_id).order_by("slug")
        return sum(_publish_region(region, edition) for region in regions)


def _publish_region(region: Region, edition: Edition) -> int:
    reports = RegionReport.objects.using(edition.using)
    published = set(reports.filter(region_id=region.id, week=edition.week).values_list("method", flat=True))
    missing = [method for method in edition.levels if method not in published]
    if not missing:
        return 0
    cohort = cohort_of(region, edition.week, now=edition.now, using=edition.using)
    members = still_consenting(cohort, using=edition.using)
    values = _holding_means(members, edition)
    words_only = len(members) < len(cohort.farms)
    # A report made by another worker in this moment stands; ours is dropped.
    reports.bulk_create(
        [_report(cohort, method, values[method], edition, words_only=words_only) for method in missing],
        ignore_conflicts=True,
    )
    return len(missing)


def _holding_means(members: Mapping[UUID, UUID], edition: Edition) -> dict[str, list[float]]:
    """For each method one value a holding that counted: the mean over its farms. A farm without a count is left out."""
    summaries = WeeklySummary.objects.using(edition.using).filter(farm_id__in=members, week=edition.week)
    by_holding: dict[tuple[str, UUID], list[float]] = defaultdict(list)
    for method, farm_id, mean in summaries.values_list("method", "farm_id", "mean"):
        if mean is not None:
            by_holding[method, members[farm_id]].append(mean)
    values: dict[str, list[float]] = defaultdict(list)
    for (method, _holding), means in by_holding.items():
        values[method].append(sum(means) / len(means))
    return values


def _report(cohort: Cohort, method: str, values: list[float], edition: Edition, *, words_only: bool) -> RegionReport:
    level = edition.levels[method]
    cell = release(values, level, at_least=METHODS[method].comparison == "at_least", words_only=words_only)
    return RegionReport(
        region_id=cohort.region_id,
        method=method,
        week=edition.week,
        disclosure=cell.disclosure,
        contributors=cell.contributors,
        mean=cell.mean,
        share_over=cell.share_over,
        word=cell.word,
        level=level,
        cutoff_at=edition.now,
        published_at=edition.now,
        cohort_hash=cohort.hash,
        rule_version=RULE_VERSION,
        code_version=edition.code_version,
    )
