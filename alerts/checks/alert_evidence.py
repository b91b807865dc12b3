"""What an alert's change rests on, so that its history can be read without the results."""

from datetime import date
from typing import Any

from alerts.checks.known import Result
from alerts.checks.signals import BITS
from alerts.rounds import Walks, days_without, due_on


def over_evidence(row: Result) -> dict[str, Any]:
    return _place(row) | {
        "mean": row.mean,
        "low": row.low,
        "high": row.high,
        "at_least": row.at_least,
        "level": row.level,
        "level_of": row.level_of,
        "devices": row.devices,
    }


def rising_evidence(row: Result) -> dict[str, Any]:
    return _place(row) | {
        "mean": row.mean,
        "trend": row.trend,
        "growth": row.growth,
        "growth_low": row.growth_low,
        "growth_high": row.growth_high,
        "p_value": row.p_value,
        "weeks_observed": row.weeks_observed,
    }


def signal_evidence(row: Result, rule: str) -> dict[str, Any]:
    """Of a rule that is a yes or no: whether it was met this week, and what a yes rests on."""
    return _place(row) | {"met": bool(row.met & BITS[rule]), "mean": row.mean} | dict(row.details.get(rule, {}))


def overdue_evidence(walks: Walks, day: date) -> dict[str, Any]:
    due = due_on(walks, day)
    return {
        "last_round": walks.last_round.isoformat() if walks.last_round else None,
        "due_on": due.isoformat() if due else None,
        "days": days_without(walks, day),
    }


def _place(row: Result) -> dict[str, Any]:
    return {"facility": str(row.facility_id) if row.facility_id else None, "method": row.method}
