"""The rules by which a group's alerts open: what it changed, and how each works on a day."""

from datetime import date
from typing import Any
from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.models.alert import Rule
from alerts.rules import NUMBERS, GroupRules
from alerts.selectors import rules_of_group, set_rules_of_group
from alerts.services import NewRule, set_group_rule
from farms.access import group_for
from farms.clock import local_date
from farms.models.access import GroupRole
from server.api.fields import Body, Choice, Day, Number, Text, YesNo
from server.api.pagination import OnePage
from server.api.views import ApiViewSet

EXAMPLE = OpenApiExample(
    "The group waits longer (invented)",
    {
        "rule": "overdue",
        "is_on": True,
        "numbers": {"days": 14},
        "valid_from": "2026-06-08",
        "reason": "Rounds are walked every ten days here.",
    },
    request_only=True,
)


class GroupRuleSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    rule = serializers.ChoiceField(Rule.choices)
    is_on = serializers.BooleanField()
    numbers = serializers.DictField(child=serializers.FloatField(), help_text="Those that the group changed, by name.")
    valid_from = serializers.DateField()
    reason = serializers.CharField()
    set_by_id = serializers.UUIDField()
    set_at = serializers.DateTimeField()


class RuleNumberSerializer(serializers.Serializer):
    name = serializers.CharField()
    value = serializers.FloatField()
    usual = serializers.FloatField()
    least = serializers.FloatField()
    most = serializers.FloatField()
    meaning = serializers.CharField()


class AppliedRuleSerializer(serializers.Serializer):
    rule = serializers.ChoiceField(Rule.choices)
    is_on = serializers.BooleanField()
    numbers = RuleNumberSerializer(many=True)
    valid_from = serializers.DateField(allow_null=True, help_text="Null where the group never changed it.")
    reason = serializers.CharField()


class NewGroupRule(Body):
    rule = Choice(Rule.choices)
    is_on = YesNo(help_text="false: it opens no more alerts, and those that are open end with the next check.")
    numbers = serializers.DictField(
        child=Number(), required=False, default=dict, help_text="By name; what isn't named is as usual."
    )
    valid_from = Day(help_text="Today or later. A week is judged by what applied on its Sunday.")
    reason = Text(max_length=300)


class RulesOnQuery(Body):
    on = Day(required=False, help_text="Today unless said otherwise.")


class GroupRulesOfGroup(ApiViewSet):
    pagination_class = OnePage

    @extend_schema(responses=GroupRuleSerializer(many=True))
    def list(self, request: Request, group_id: UUID) -> Response:
        """Every change that the group made to its rules, newest first."""
        return self.page(set_rules_of_group(group_for(self.who, group_id)), GroupRuleSerializer)

    @extend_schema(request=NewGroupRule, responses={201: GroupRuleSerializer}, examples=[EXAMPLE])
    def create(self, request: Request, group_id: UUID) -> Response:
        """Switch a rule on or off, or change its numbers, from a day on; for the group's coordinators."""
        group = group_for(self.who, group_id, role=GroupRole.COORDINATOR)
        made = set_group_rule(group=group, rule=NewRule(**self.body(NewGroupRule)), by=self.user, now=self.now)
        return Response(GroupRuleSerializer(made).data, status=201)

    @extend_schema(responses=AppliedRuleSerializer(many=True), parameters=[RulesOnQuery])
    @action(detail=False)
    def applied(self, request: Request, group_id: UUID) -> Response:
        """How each rule works on a day, with its numbers and what they may be."""
        group = group_for(self.who, group_id)
        on: date = self.query(RulesOnQuery).get("on") or local_date(self.now, group.time_zone)
        return self.page(_applied(rules_of_group(group_id, on)), AppliedRuleSerializer)


def _applied(rules: GroupRules) -> list[dict[str, Any]]:
    return [{**vars(rules.of(rule)), "numbers": _numbers(rule, rules)} for rule in NUMBERS]


def _numbers(rule: str, rules: GroupRules) -> list[dict[str, Any]]:
    return [
        {"name": name, "value": rules.number(rule, name), **vars(known), "meaning": str(known.meaning)}
        for name, known in NUMBERS[rule].items()
    ]
