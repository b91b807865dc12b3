"""Planned visits and calls of advisers, and the group's rules for visits."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, group_for, one_of
from farms.models.access import GroupRole
from farms.models.visit import VisitKind
from farms.services import Plan, erase_last_farm, plan_visit, set_visit_rules, take_back_visit
from farms.visits import VisitTold, visit_rules_of, visits_of, visits_told, written_rules_of
from server.api.fields import Body, Choice, Day, Text
from server.api.pagination import OnePage
from server.api.people_only import OnFarmForPeople
from server.api.views import ApiViewSet

EXAMPLE = OpenApiExample(
    "A visit, and where the adviser was before (invented)",
    {"kind": "visit", "day": "2026-06-09", "last_farm": "Hollow Creek", "last_on": "2026-05-29"},
    request_only=True,
)
RULES = OpenApiExample(
    "Two lines of a group's own (invented)",
    {"text": "Clean boots, every time.\nPark outside of the gate."},
    request_only=True,
)


class LastFarmSerializer(serializers.Serializer):
    name = serializers.CharField()
    visited_on = serializers.DateField()


class PlannedVisitSerializer(serializers.Serializer):
    id = serializers.UUIDField(source="visit.id")
    kind = serializers.ChoiceField(VisitKind.choices, source="visit.kind", help_text="As it was planned.")
    told_as = serializers.ChoiceField(
        VisitKind.choices, help_text="A visit is a call while the farm is closed to visits on its day."
    )
    day = serializers.DateField(source="visit.day")
    adviser_id = serializers.UUIDField(source="visit.adviser_id")
    planned_at = serializers.DateTimeField(source="visit.planned_at")
    last_farm = LastFarmSerializer(
        source="last", allow_null=True, help_text="Where the adviser was before; told to that adviser only."
    )


class VisitMadeSerializer(PlannedVisitSerializer):
    # An answer is kept under its Idempotency-Key, and would tell again what was erased since.
    last_farm = None


class NewVisit(Body):
    kind = Choice(VisitKind.choices)
    day = Day(help_text="Today or later, at most a year ahead.")
    last_farm = Text(default="", allow_blank=True, max_length=120, help_text="The last farm visited, if any this week.")
    last_on = Day(default=None, allow_null=True, help_text="When that was.")


class VisitRulesSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    text = serializers.CharField(help_text="A line a rule.")
    set_by_id = serializers.UUIDField()
    set_at = serializers.DateTimeField()


class AppliedVisitRulesSerializer(serializers.Serializer):
    lines = serializers.ListField(child=serializers.CharField())
    set_at = serializers.DateTimeField(allow_null=True, help_text="Null for the usual ones: the group wrote none.")


class NewVisitRules(Body):
    text = Text(max_length=1500, help_text="A line a rule.")


class Visits(OnFarmForPeople):
    needs = {"list": Need.READ, "create": Need.MANAGE, "destroy": Need.MANAGE, "last_farm": Need.MANAGE}
    pagination_class = OnePage
    lookup_url_kwarg = "planned_visit_id"

    @extend_schema(responses=PlannedVisitSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The visits and calls planned for this farm, by day; for its people and its advisers, not for keys."""
        return self.page(visits_told(visits_of(self.farm), self.user), PlannedVisitSerializer)

    @extend_schema(request=NewVisit, responses={201: VisitMadeSerializer}, examples=[EXAMPLE])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Plan a visit or a call; for the farm's advisers.

        Where the adviser was before, and when, is seen by that adviser alone and can be erased; this answer leaves it
        out.
        """
        visit = plan_visit(farm=self.farm, plan=Plan(**self.body(NewVisit)), by=self.user, now=self.now)
        return Response(VisitMadeSerializer(self._told(visit.id)).data, status=201)

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, farm_id: UUID, planned_visit_id: UUID) -> Response:
        """Plan it no longer; for the adviser who planned it."""
        take_back_visit(visit=one_of(visits_of(self.farm), planned_visit_id), by=self.user, now=self.now)
        return Response(status=204)

    @extend_schema(responses={204: None})
    @action(detail=True, methods=["delete"], url_path="last-farm")
    def last_farm(self, request: Request, farm_id: UUID, planned_visit_id: UUID) -> Response:
        """Erase where you were before; the visit stays planned."""
        erase_last_farm(visit=one_of(visits_of(self.farm), planned_visit_id), by=self.user)
        return Response(status=204)

    def _told(self, visit_id: UUID) -> VisitTold:
        return visits_told(visits_of(self.farm).filter(id=visit_id), self.user)[0]


class GroupVisitRulesView(ApiViewSet):
    pagination_class = OnePage

    @extend_schema(responses=VisitRulesSerializer(many=True))
    def list(self, request: Request, group_id: UUID) -> Response:
        """Every text that the group's coordinators wrote, newest first."""
        return self.page(written_rules_of(group_for(self.who, group_id)), VisitRulesSerializer)

    @extend_schema(request=NewVisitRules, responses={201: VisitRulesSerializer}, examples=[RULES])
    def create(self, request: Request, group_id: UUID) -> Response:
        """Write the group's rules for visits anew; for its coordinators. The older ones stay on record."""
        group = group_for(self.who, group_id, role=GroupRole.COORDINATOR)
        rules = set_visit_rules(group=group, **self.body(NewVisitRules), by=self.user, now=self.now)
        return Response(VisitRulesSerializer(rules).data, status=201)

    @extend_schema(responses=AppliedVisitRulesSerializer)
    @action(detail=False)
    def applied(self, request: Request, group_id: UUID) -> Response:
        """The rules for visits that hold now: the group's own, or the usual ones."""
        rules: Any = vars(visit_rules_of(group_for(self.who, group_id)))
        return self.told(AppliedVisitRulesSerializer(rules).data)
