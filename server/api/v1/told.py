"""That a farm was told a week's result otherwise than by mail."""

from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.models.told import ToldHow
from alerts.selectors import told_rows_of
from alerts.services import Telling, mark_told, take_back_told
from farms.access import Need
from server.api.fields import Body, Choice, Day
from server.api.people_only import OnFarmForPeople

EXAMPLE = OpenApiExample(
    "By a call on Monday (invented)", {"week": "2026-05-25", "how": "call", "told_on": "2026-06-01"}, request_only=True
)

TAKEN_BACK = OpenApiExample("That week (invented)", {"week": "2026-05-25"}, request_only=True)


class ToldSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    week = serializers.DateField(help_text="The Monday of the ISO week.")
    how = serializers.ChoiceField(ToldHow.choices)
    told_on = serializers.DateField()
    undone = serializers.BooleanField(help_text="Whether this row says that the week was not told after all.")
    by_id = serializers.UUIDField()
    at = serializers.DateTimeField()


class NewTelling(Body):
    week = Day(help_text="Any day of the week that was told.")
    how = Choice(ToldHow.choices)
    told_on = Day()


class TakenBack(Body):
    week = Day(help_text="Any day of the week.")


class Tellings(OnFarmForPeople):
    needs = {"list": Need.READ, "create": Need.MANAGE, "taken_back": Need.MANAGE}
    newest_first = ("-entry",)

    @extend_schema(responses=ToldSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """What was noted of telling this farm its weeks, newest first; the newest row of a week holds."""
        return self.page(told_rows_of(self.farm), ToldSerializer)

    @extend_schema(request=NewTelling, responses={201: ToldSerializer}, examples=[EXAMPLE])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Note that the farm was told a week's result, and how; for its advisers.

        It counts as seen for every open alert of the farm that opened with this week or an earlier one.
        """
        told = mark_told(farm=self.farm, telling=Telling(**self.body(NewTelling)), by=self.user, now=self.now)
        return Response(ToldSerializer(told).data, status=201)

    @extend_schema(request=TakenBack, responses={201: ToldSerializer}, examples=[TAKEN_BACK])
    @action(detail=False, methods=["post"], url_path="taken-back")
    def taken_back(self, request: Request, farm_id: UUID) -> Response:
        """Note that a week was not told after all; what was seen stays seen."""
        told = take_back_told(farm=self.farm, week=self.body(TakenBack)["week"], by=self.user, now=self.now)
        return Response(ToldSerializer(told).data, status=201)
