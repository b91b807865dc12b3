"""What is stored of a farm's weeks ahead: rounded, so that the same readings give the same row on every machine."""

import math
from typing import Any

from alerts.checks.outlook import Outlook
from monitoring.analysis.forecast import IN_SIGHT, WEEKS_AHEAD

DIGITS = 4


def outlook_json(outlook: Outlook, owner: int) -> dict[str, Any]:
    """One farm's weeks ahead and the week in which its level is likely crossed; empty where nothing can be said.

    {"ahead": [{"weeks": 1, "median": 120.0, "low": 85.0, "high": 170.0, "over": 0.71}, ...],
     "crossing": {"word": "in_sight", "weeks": 2, "soonest": 1, "latest": None}}
    """
    if math.isnan(outlook.ahead_median[owner, 0]):
        return {}
    ahead = [
        {
            "weeks": weeks,
            "median": short(outlook.ahead_median[owner, place]),
            "low": short(outlook.ahead_low[owner, place]),
            "high": short(outlook.ahead_high[owner, place]),
            "over": short(outlook.ahead_over[owner, place]),
        }
        for place, weeks in enumerate(WEEKS_AHEAD)
    ]
    return {"ahead": ahead, "crossing": _crossing(outlook, owner)}


def _crossing(outlook: Outlook, owner: int) -> dict[str, Any]:
    word = str(outlook.crossing[owner])
    if word != IN_SIGHT:
        return {"word": word}
    names = ("weeks", "soonest", "latest")
    return {"word": word} | {name: _week(getattr(outlook, f"crossing_{name}")[owner]) for name in names}


def _week(value: float) -> int | None:
    """A number of weeks; None where it is not within those that are looked at."""
    return int(value) if math.isfinite(value) else None


def short(value: float) -> float | None:
    """A number with four significant digits; None for none."""
    return None if math.isnan(value) else float(f"{value:.{DIGITS}g}")
