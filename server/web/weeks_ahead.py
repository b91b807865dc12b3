"""What the next rounds may count, as the farm's page shows it."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from alerts.wording import crossing_in_words

if TYPE_CHECKING:
    from alerts.selectors.farm_weeks import FarmWeek


@dataclass(frozen=True)
class AheadLine:
    """One method: the weeks as stored (weeks, median, low, high, over), and when the level is likely crossed."""

    method: str
    weeks: list[dict[str, Any]]
    crossing: str


def ahead_lines(week: "FarmWeek") -> list[AheadLine]:
    """A line a method of which something can be said."""
    rows = [row for row in week.farm_rows.values() if row.outlook.get("ahead")]
    return [AheadLine(row.method, row.outlook["ahead"], crossing_in_words(row)) for row in rows]
