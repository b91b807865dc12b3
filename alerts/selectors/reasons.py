"""A reason of the Monday list: its words, and where the evidence for them stands."""

from enum import StrEnum
from typing import TYPE_CHECKING, Any, Self

from alerts.models import Assessment

if TYPE_CHECKING:
    from collections.abc import Sequence

    from alerts.models.alert import Rule
    from alerts.selectors.farm_weeks import FarmWeek


class Proof(StrEnum):
    """Where the evidence for a reason stands: which of a farm's pages, or which part of its own one."""

    MATTER = "matter"
    SEASON = "season"  # of a method
    BUILDINGS = "buildings"
    ROUNDS = "rounds"
    WORK = "work"
    MAILS = "mails"
    VISITS = "visits"


class Reason(str):
    """A reason is its words, for mails and lists that only join them; `about` is a matter's id or a method."""

    __slots__ = ("about", "proof")
    proof: Proof | None
    about: str

    def __new__(cls, words: str, proof: Proof | None = None, about: Any = "") -> Self:
        made = super().__new__(cls, words)
        made.proof, made.about = proof, str(about)
        return made


def reason_of(told: "FarmWeek", words: str, rule: "Rule", rows: "Sequence[Assessment]" = ()) -> Reason:
    """With the open matter of a rule behind it, of what these rows are about; else with their method's season."""
    methods = {row.method for row in rows}
    found = (alert for alert in told.alerts if alert.rule == rule and (not rows or alert.method in methods))
    alert = next(found, None)
    if alert is not None:
        return Reason(words, Proof.MATTER, alert.id)
    return Reason(words, Proof.SEASON, rows[0].method) if rows else Reason(words, Proof.ROUNDS)
