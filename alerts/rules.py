"""The rules as values: which there are, what a group may change of each, and what applies on a day."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from alerts.models.alert import Rule


@dataclass(frozen=True)
class Number:
    """A number of a rule: what it usually is, and between which a group may set it, both included."""

    usual: float
    least: float
    most: float
    meaning: Promise


# All of these numbers are our own choices, except ten days, five devices and ten animals (science.md, section 1).
NUMBERS: Mapping[str, Mapping[str, Number]] = {
    Rule.OVER.value: {
        "closes_below": Number(0.8, 0.5, 1.0, _("part of the action level below which it closes, two weeks running")),
        "sharply": Number(1.5, 1.2, 5, _("times the action level from which a mail goes out before Monday")),
    },
    Rule.SOON.value: {
        "weeks": Number(2, 1, 3, _("likelier over than not within so many weeks")),
    },
    Rule.RISING.value: {
        "false_share": Number(0.1, 0.01, 0.5, _("share of false alarms that is allowed across the group")),
    },
    Rule.HOT_STATION.value: {
        "times": Number(6, 2, 20, _("so many times the mean of the others, two counted weeks running")),
    },
    Rule.JUMP.value: {
        "chance": Number(0.005, 0.0005, 0.05, _("share of level farms that would show so large a jump by chance")),
    },
    Rule.OVERDUE.value: {
        "days": Number(10, 8, 30, _("days without a round")),
    },
    Rule.MISSING_TWICE.value: {},
    Rule.SITING.value: {
        "devices": Number(5, 1, 20, _("cards, or traps, that a housing unit should have")),
    },
    Rule.FEW_ANIMALS.value: {
        "animals": Number(10, 5, 30, _("animals that a leg count should look at")),
    },
}


@dataclass(frozen=True)
class RuleSetting:
    """How a rule works on a day: on or off, its numbers by name, and since when and why where a group changed it."""

    rule: str
    is_on: bool
    numbers: Mapping[str, float]
    valid_from: date | None = None
    reason: str = ""


def usual(rule: str) -> RuleSetting:
    """The rule as it is where no group changed it."""
    return RuleSetting(rule, is_on=True, numbers={name: number.usual for name, number in NUMBERS[rule].items()})


@dataclass(frozen=True)
class GroupRules:
    """All rules of a group on a day; those that it never changed are as usual."""

    changed: Mapping[str, RuleSetting] = field(default_factory=dict)

    def of(self, rule: str) -> RuleSetting:
        return self.changed.get(rule) or usual(rule)

    def is_on(self, rule: str) -> bool:
        return self.of(rule).is_on

    def number(self, rule: str, name: str) -> float:
        return self.of(rule).numbers[name]


USUAL = GroupRules()
