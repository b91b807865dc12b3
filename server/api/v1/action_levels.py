"""Action levels: what a farm or its group set, and what applies on a day."""

from datetime import date
from typing import Any
from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.checks.level_preview import NothingToPreview, level_preview
from alerts.levels import FarmLevels
from alerts.selectors import levels_of, own_levels_of, set_levels_of_group
from alerts.services import (
    NewLevel,
    TakenBack,
    set_farm_level,
    set_group_level,
    take_farm_level_back,
    take_group_level_back,
)
from farms.access import Need, group_for
from farms.clock import local_date
from farms.models.access import GroupRole
from monitoring.methods import METHOD_CHOICES, METHODS
from server.api.fields import Body, Choice, Day, Id, Number, NumberText, Text
from server.api.pagination import OnePage
from server.api.v1.facilities import facility_named
from server.api.views import ApiViewSet, OnFarm

EXAMPLE = OpenApiExample(
    "The farm acts earlier (invented)",
    {"method": "card", "value": 80, "valid_from": "2026-06-08", "reason": "Neighbours are close."},
    request_only=True,
)


TAKEN_BACK = OpenApiExample(
    "Back to the usual one (invented)",
    {"method": "card", "valid_from": "2026-06-08", "reason": "The neighbours moved."},
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
    taken_back = serializers.SerializerMethodField(
        help_text="true: from that day on this level of its own is no more, and the next one up applies."
    )

    def get_taken_back(self, level: Any) -> bool:
        return bool(level.taken_back)


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


class GroupLevelTakenBack(Body):
    method = Choice(METHOD_CHOICES)
    valid_from = Day(help_text="Today or later.")
    reason = Text(max_length=300)


class FarmLevelTakenBack(GroupLevelTakenBack):
    facility_id = Id(default=None, allow_null=True, help_text="The facility's own; null for the whole farm's.")


class PreviewQuery(Body):
    method = Choice(METHOD_CHOICES)
    value = NumberText(min_value=0.01, help_text="The action level to try, in the method's unit.")
    facility_id = Id(required=False, help_text="For one facility; without it for the whole farm.")


class EpisodeSerializer(serializers.Serializer):
    opened_week = serializers.DateField(help_text="The Monday of the ISO week.")
    closed_week = serializers.DateField(allow_null=True, help_text="Null where it lasted to the end of the season.")
    highest = serializers.FloatField(help_text="The highest weekly mean while it was open.")


class PreviewSerializer(serializers.Serializer):
    opens_on = serializers.DateField(help_text="First day of the season that is looked at: the last one with results.")
    closes_on = serializers.DateField(allow_null=True)
    weeks_counted = serializers.IntegerField()
    alerts = EpisodeSerializer(many=True, help_text="What an alert over this level would have opened and closed.")
    alerts_now = EpisodeSerializer(many=True, help_text="The same by the levels that applied then.")


class LevelsOnQuery(Body):
    on = Day(required=False, help_text="Today unless said otherwise. A week is judged by its Sunday.")


class ActionLevels(OnFarm):
    needs = {
        "list": Need.READ,
        "applied": Need.READ,
        "preview": Need.READ,
        "create": Need.MANAGE,
        "taken_back": Need.MANAGE,
    }
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

    @extend_schema(request=FarmLevelTakenBack, responses={201: FarmLevelSerializer}, examples=[TAKEN_BACK])
    @action(detail=False, methods=["post"], url_path="taken-back")
    def taken_back(self, request: Request, farm_id: UUID) -> Response:
        """Take the farm's or a facility's own level back from a day on: the usual one applies again."""
        body = self.body(FarmLevelTakenBack)
        facility = facility_named(self.farm, body.pop("facility_id"))
        place = TakenBack(**body, facility=facility)
        level = take_farm_level_back(farm=self.farm, place=place, by=self.user, now=self.now)
        return Response(FarmLevelSerializer(level).data, status=201)

    @extend_schema(responses=PreviewSerializer, parameters=[PreviewQuery])
    @action(detail=False)
    def preview(self, request: Request, farm_id: UUID) -> Response:
        """Which alerts over the level the last season would have had with another value. Nothing is changed."""
        asked = self.query(PreviewQuery)
        facility = facility_named(self.farm, asked.pop("facility_id", None))
        told = level_preview(self.farm, **asked, facility=facility, today=local_date(self.now, self.farm.time_zone))
        if told is None:
            raise NothingToPreview()
        return self.told(PreviewSerializer(told).data)


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

    @extend_schema(request=GroupLevelTakenBack, responses={201: GroupLevelSerializer}, examples=[TAKEN_BACK])
    @action(detail=False, methods=["post"], url_path="taken-back")
    def taken_back(self, request: Request, group_id: UUID) -> Response:
        """Take the group's own level back from a day on: the trade's usual one applies again."""
        group = group_for(self.who, group_id, role=GroupRole.COORDINATOR)
        level = take_group_level_back(group=group, **self.body(GroupLevelTakenBack), by=self.user, now=self.now)
        return Response(GroupLevelSerializer(level).data, status=201)


def _applied(levels: FarmLevels) -> list[dict[str, Any]]:
    places = [(None, method) for method in METHODS]
    places += [place for place in levels.own if place[0] is not None]
    return [_told(facility, method, levels) for facility, method in places]


def _told(facility_id: UUID | None, method: str, levels: FarmLevels) -> dict[str, Any]:
    level = vars(levels.of(method, facility_id))
    return {"facility_id": facility_id, "method": method, "comparison": METHODS[method].comparison, **level}
