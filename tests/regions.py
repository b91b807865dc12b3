"""Region reports and frozen contributions as a scene: invented figures, written past the walls."""

from datetime import date, timedelta
from typing import Any

from farms.models import Farm, Group, GroupTerms, Region, User
from monitoring.models import Contribution, HeldReport, RegionReport
from tests.cast import NOW, as_factory

# The week before the cast's Monday.
WEEK = date(2026, 5, 25)
NUMBERS: dict[str, Any] = {
    "disclosure": "numbers", "contributors": "10 to 14", "mean": 84.0, "middle": 80.0, "share_over": 0.3,
    "share_rising": 0.6, "normal": 1.3, "normal_middle": 1.2, "normal_share": 0.7, "growth": 0.2, "growth_low": 0.1,
    "growth_high": 0.3, "word": "middle",
}  # fmt: skip
USUAL = {"usual_low": 60.0, "usual_high": 110.0, "usual_normal_low": 0.8, "usual_normal_high": 1.1}
# An invented farm's value that stands nowhere else.
ODD = 7919.0


def report(region: Region, week: date = WEEK, method: str = "card", **values: Any) -> RegionReport:
    usual = {"level": 100.0, "disclosure": "nothing", "cutoff_at": NOW, "published_at": NOW, "cohort_hash": bytes(32)}
    usual |= {"rule_version": "2026-2", "code_version": "test"}
    with as_factory():
        return RegionReport.objects.create(region=region, week=week, method=method, **{**usual, **values})


def season(region: Region, weeks: int = 8, method: str = "card") -> None:
    """Weeks in numbers up to WEEK, one of them not told, and one in a word."""
    for back in range(weeks - 1, -1, -1):
        week = WEEK - timedelta(weeks=back)
        if back == 3:
            report(region, week, method)
        elif back == 4:
            report(region, week, method, disclosure="word", word="low")
        else:
            told = {**NUMBERS, **USUAL, "normal": round(1.3 - back * 0.05, 2), "mean": 84.0 - back * 4}
            report(region, week, method, **told)


def contribution(farm: Farm, third: int | None, week: date = WEEK, method: str = "card", mean: float = ODD) -> None:
    """A farm's frozen week."""
    with as_factory():
        Contribution.objects.create(
            farm_id=farm.id, method=method, week=week, region_id=farm.region_id, holding_id=farm.holding_id, mean=mean,
            ratio=7.9190, growth=None, rising=None, third=third, frozen_at=NOW,
        )  # fmt: skip


def held(region: Region, reason: str = "bounded", week: date = WEEK) -> None:
    with as_factory():
        HeldReport.objects.create(region=region, week=week, reason=reason, held_at=NOW)


def odbl(group: Group, by: User) -> None:
    """The group's region reports are under the Open Database License from the cast's Monday on."""
    with as_factory():
        GroupTerms.objects.create(
            group=group, licence="ODbL-1.0", sells_products=False, contact="Erik", valid_from=NOW.date(), set_by=by,
            set_at=NOW,
        )  # fmt: skip
