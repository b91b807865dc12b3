"""Which rules a group has, and how each works on a day."""

from datetime import date
from typing import TYPE_CHECKING
from uuid import UUID

from django.db.models import QuerySet

from alerts.models import GroupRule
from alerts.rules import GroupRules, RuleSetting, usual

if TYPE_CHECKING:
    from farms.models import Group


def rules_of_group(group_id: UUID, on: date) -> GroupRules:
    """How the group's rules work on a day. A week is judged by what applied on its Sunday."""
    rows = GroupRule.objects.filter(group_id=group_id, valid_from__lte=on)
    newest = rows.order_by("rule", "-valid_from", "-set_at", "-id").distinct("rule")
    return GroupRules({row.rule: setting_of(row) for row in newest})


def setting_of(row: GroupRule) -> RuleSetting:
    """A row as it works: what it doesn't name is as usual."""
    numbers = {**usual(row.rule).numbers, **row.numbers}
    return RuleSetting(row.rule, row.is_on, numbers, row.valid_from, row.reason)


def set_rules_of_group(group: "Group") -> QuerySet[GroupRule]:
    """Every change that the group ever made to its rules, newest first."""
    return GroupRule.objects.filter(group_id=group.id).order_by("-valid_from", "-set_at", "-id")
