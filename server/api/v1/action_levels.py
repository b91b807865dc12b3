"""Action levels: what a farm or its group set, and what applies on a day."""

from datetime import date
from typing import Any
from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.levels import FarmLevels
from alerts.selectors import levels_of, own_levels_of, set_levels_of_group
from alerts.services import NewLevel, set_farm_level, set_group_level
from farms.access import Need, group_for
from farms.clock import local_date
from farms.models.access import GroupRole
from monitoring.methods import METHOD_CHOICES, METHODS
from server.api.fields import Body, Choice, Day, Id, Number, Text
from server.api.pagination import OnePage
from server.api.v1.facilities import facility_named
from server.api.views import ApiViewSet, OnFarm

EXAMPLE = OpenApiExample(
    "The farm acts earlier (invented)",
    {"method": "card", "value": 80, "valid_from": "2026-06-08", "reason": "Neighbours are close."},
    request_only=True,
)


class GroupLevelSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    method = serializers.ChoiceField(METHOD_CHOICES)
    value = serializers.FloatField()
    unit = serializers.CharField()
    valid_from = serializers.DateField()
    reason = serializers.CharField()
    set_by_id = serializers.UUIDField()
    set_at = serializers.DateTimeField()


class FarmLevelSerializer(GroupLevelSerializer):
    facility_id = serializers.UUIDField(allow_null=True, help_text="Null for the whole farm.")


class AppliedLevelSerializer(serializers.Serializer):
    facility_id = serializers.UUIDField(allow_null=True, help_text="Null for the whole farm.")
    method = serializers.ChoiceField(METHOD_CHOICES)
    value = serializers.FloatField(allow_null=True, help_text="Null where no guideline is printed and none was set.")
    unit = serializers.CharField()
    comparison = serializers.ChoiceField(["more", "at_least"], help_text="How a mean is compared with it.")
    level_of = serializers.ChoiceField(["facility", "farm", "group", "default"])
    valid_from = serializers.DateField(allow_null=True)
    reason = serializers.CharField()


class NewGroupLevel(Body):
    method = Choice(METHOD_CHOICES)
    value = Number()
    valid_from = Day(help_text="Today or later.")
    reason = Text(max_length=300)


class NewFarmLevel(NewGroupLevel):
    facility_id = Id(default=None, allow_null=True, help_text="For one facility only; null for the whole farm.")


class LevelsOnQuery(Body):
    on = Day(required=False, help_text="Today unless said otherwise. A week is judged by its Sunday.")


class ActionLevels(OnFarm):
    needs = {"list": Need.READ, "applied": Need.READ, "create": Need.MANAGE}
    pagination_class = OnePage

    @extend_schema(responses=FarmLevelSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """Every action level that the farm set for itself or a facility, newest first."""
        return self.page(own_levels_of(self.farm), FarmLevelSerializer)

    @extend_schema(request=NewFarmLevel, responses={201: FarmLevelSerializer}, examples=[EXAMPLE])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Set an action level for the farm or one facility, from a day on.

        Weeks already judged keep the level of their time.
        """
        body = self.body(NewFarmLevel)
        facility = facility_named(self.farm, body.pop("facility_id"))
        level = set_farm_level(farm=self.farm, level=NewLevel(**body, facility=facility), by=self.user, now=self.now)
        return Response(FarmLevelSerializer(level).data, status=201)

    @extend_schema(responses=AppliedLevelSerializer(many=True), parameters=[LevelsOnQuery])
    @action(detail=False)
    def applied(self, request: Request, farm_id: UUID) -> Response:
        """What applies on a day: for the whole farm, and for each facility whose level is its own."""
        on: date = self.query(LevelsOnQuery).get("on") or local_date(self.now, self.farm.time_zone)
        return self.page(_applied(levels_of(self.farm, on)), AppliedLevelSerializer)


class GroupActionLevels(ApiViewSet):
    pagination_class = OnePage

    @extend_schema(responses=GroupLevelSerializer(many=True))
    def list(self, request: Request, group_id: UUID) -> Response:
        """Every action level that the group set, newest first."""
        return self.page(set_levels_of_group(group_for(self.who, group_id)), GroupLevelSerializer)

    @extend_schema(request=NewGroupLevel, responses={201: GroupLevelSerializer}, examples=[EXAMPLE])
    def create(self, request: Request, group_id: UUID) -> Response:
        """Set an action level for the whole group, from a day on; for its coordinators."""
        group = group_for(self.who, group_id, role=GroupRole.COORDINATOR)
        level = set_group_level(group=group, level=NewLevel(**self.body(NewGroupLevel)), by=self.user, now=self.now)
        return Response(GroupLevelSerializer(level).data, status=201)


def _applied(levels: FarmLevels) -> list[dict[str, Any]]:
    places = [(None, method) for method in METHODS]
    places += [place for place in levels.own if place[0] is not None]
    return [_told(facility, method, levels) for facility, method in places]


def _told(facility_id: UUID | None, method: str, levels: FarmLevels) -> dict[str, Any]:
    level = vars(levels.of(method, facility_id))
    return {"facility_id": facility_id, "method": method, "comparison": METHODS[method].comparison, **level}
