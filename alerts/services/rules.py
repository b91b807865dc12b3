"""Setting a group's rules. Rows are only added: what was judged was judged by the rule of its time."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from alerts.models import GroupRule
from alerts.rules import NUMBERS
from farms.clock import local_date
from farms.errors import Invalid

if TYPE_CHECKING:
    from farms.models import Group, User


class RuleUnknown(Invalid):
    code = "rule_unknown"
    message = _("There is no such rule. Choose one of: {rules}.")


class RuleNumberUnknown(Invalid):
    code = "rule_number_unknown"
    message = _("This rule has no number of that name. It has: {names}.")


class RuleNumberOutside(Invalid):
    code = "rule_number_outside"
    message = _("This number lies outside what the rule can work with. Choose one from {least:g} to {most:g}.")


class RuleWithoutReason(Invalid):
    code = "rule_without_reason"
    message = _("Say in a few words why the rule changes: whoever reads it later needs to know.")


class RuleFromThePast(Invalid):
    code = "rule_from_the_past"
    message = _(
        "A rule can't change before today, {today:%Y-%m-%d}: weeks already judged keep the rule of then. "
        "Choose today or a later day."
    )


@dataclass(frozen=True)
class NewRule:
    """A rule as a coordinator sets it from a day on. `numbers` that aren't named are as usual."""

    rule: str
    is_on: bool
    reason: str
    valid_from: date
    numbers: Mapping[str, float] = field(default_factory=dict)


@transaction.atomic
def set_group_rule(*, group: "Group", rule: NewRule, by: "User", now: datetime) -> GroupRule:
    """Change how a rule works in a group. The entry point lets coordinators in only."""
    _check(rule, local_date(now, group.time_zone))
    return GroupRule.objects.create(
        group=group, rule=rule.rule, is_on=rule.is_on, numbers=dict(rule.numbers), valid_from=rule.valid_from,
        reason=rule.reason.strip(), set_by=by, set_at=now,
    )  # fmt: skip


def _check(rule: NewRule, today: date) -> None:
    if rule.rule not in NUMBERS:
        raise RuleUnknown(pointer="/rule", rules=", ".join(NUMBERS))
    for name, value in rule.numbers.items():
        _check_number(rule.rule, name, value)
    if not rule.reason.strip():
        raise RuleWithoutReason(pointer="/reason")
    if rule.valid_from < today:
        raise RuleFromThePast(pointer="/valid_from", today=today)


def _check_number(rule: str, name: str, value: float) -> None:
    known = NUMBERS[rule].get(name)
    if known is None:
        raise RuleNumberUnknown(pointer=f"/numbers/{name}", names=", ".join(NUMBERS[rule]) or "-")
    if not (math.isfinite(value) and known.least <= value <= known.most):
        raise RuleNumberOutside(pointer=f"/numbers/{name}", least=known.least, most=known.most)
