"""What the next rounds may count, as the farm's page shows it."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from alerts.wording import chances_phrase, crossing_in_words

if TYPE_CHECKING:
    from alerts.models import Assessment
    from alerts.selectors.farm_weeks import FarmWeek


@dataclass(frozen=True)
class AheadLine:
    """One method: the weeks as stored (weeks, median, low, high, over), and when the level is likely crossed."""

    method: str
    weeks: list[dict[str, Any]]
    crossing: str
    chances: str


def ahead_lines(week: "FarmWeek") -> list[AheadLine]:
    """A line a method of which something can be said."""
    rows = [row for row in week.farm_rows.values() if row.outlook.get("ahead")]
    return [AheadLine(row.method, row.outlook["ahead"], crossing_in_words(row), _chances(row)) for row in rows]


def _chances(row: "Assessment") -> str:
    """7 chances in 10 in the last of the weeks shown."""
    last = row.outlook["ahead"][-1]
    if last["over"] is None:
        return ""
    return _("{chances} in {weeks} weeks").format(chances=chances_phrase(last["over"]), weeks=last["weeks"])
