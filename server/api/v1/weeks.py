"""The farm's figures week by week, as counted: not judged."""

from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need
from monitoring.methods import METHOD_CHOICES
from monitoring.selectors import summaries_of
from server.api.fields import Body, Choice, Day
from server.api.views import OnFarm


class WeekSerializer(serializers.Serializer):
    method = serializers.ChoiceField(METHOD_CHOICES)
    week = serializers.DateField(help_text="The Monday of the ISO week that holds the middle of the days up.")
    stations = serializers.IntegerField()
    devices = serializers.IntegerField(help_text="Cards or traps read.")
    missing = serializers.IntegerField(help_text="Those without a count. Missing is not zero.")
    counted = serializers.IntegerField(allow_null=True, help_text="All counts added; null where nothing was counted.")
    days = serializers.IntegerField(help_text="The days that they hung, added.")
    animals = serializers.IntegerField(help_text="Animals looked at for leg counts.")
    mean = serializers.FloatField(allow_null=True, help_text="Mean over stations, in the method's unit.")
    at_least = serializers.BooleanField(help_text="A lower bound: somewhere there were too many to count.")
    last_received_at = serializers.DateTimeField()


class WeekQuery(Body):
    method = Choice(METHOD_CHOICES, required=False)
    since = Day(required=False, help_text="From the week of this day on.")


class Weeks(OnFarm):
    needs = {"list": Need.READ}
    newest_first = ("-week", "method")

    @extend_schema(responses=WeekSerializer(many=True), parameters=[WeekQuery])
    def list(self, request: Request, farm_id: UUID) -> Response:
        """A row a week and method, newest first."""
        return self.page(summaries_of(self.farm, **self.query(WeekQuery)), WeekSerializer)
