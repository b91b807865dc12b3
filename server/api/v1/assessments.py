"""What the weekly check concluded."""

from datetime import date, timedelta
from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.models.assessment import LevelWord, TrendWord
from alerts.selectors import assessments_of
from farms.access import Need
from farms.clock import local_date, monday_of
from monitoring.methods import METHOD_CHOICES
from server.api.fields import Body, Choice, Day, Flag
from server.api.pagination import OnePage
from server.api.views import OnFarm

A_YEAR = timedelta(weeks=52)


class AssessmentSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    facility_id = serializers.UUIDField(allow_null=True, help_text="Null for the whole farm.")
    method = serializers.ChoiceField(METHOD_CHOICES)
    week = serializers.DateField(help_text="The Monday of the ISO week.")
    revision = serializers.IntegerField(help_text="More than 1 where a later reading had the week judged again.")
    judged_at = serializers.DateTimeField()
    mean = serializers.FloatField(allow_null=True, help_text="In the method's unit; null where nothing was counted.")
    low = serializers.FloatField(allow_null=True, help_text="Lower end of the mean's 95 % interval.")
    high = serializers.FloatField(allow_null=True, help_text="Upper end of it.")
    at_least = serializers.BooleanField(help_text="The mean is a lower bound: somewhere there were too many to count.")
    devices = serializers.IntegerField(help_text="Cards, traps or animals counted.")
    missing = serializers.IntegerField(help_text="Cards or traps without a count. Missing is not zero.")
    few_devices = serializers.BooleanField(help_text="Fewer than five of them.")
    level = serializers.FloatField(allow_null=True, help_text="The action level of that week.")
    level_of = serializers.CharField(help_text="Whose level: facility, farm, group or default.")
    result = serializers.ChoiceField(LevelWord.choices)
    trend = serializers.ChoiceField([("", ""), *TrendWord.choices], help_text="The whole farm's; empty for a facility.")
    growth = serializers.FloatField(allow_null=True, help_text="Log growth a week over the last eight weeks.")
    growth_low = serializers.FloatField(allow_null=True)
    growth_high = serializers.FloatField(allow_null=True)
    p_value = serializers.FloatField(allow_null=True)
    weeks_observed = serializers.IntegerField(help_text="Of the last eight weeks.")
    evidence = serializers.DictField(help_text="Where most of it is, and what to keep in mind.")
    code_version = serializers.CharField()


class AssessmentQuery(Body):
    since = Day(required=False, help_text="From the week of this day on; the last year unless said otherwise.")
    method = Choice(METHOD_CHOICES, required=False)
    whole_farm = Flag(required=False, help_text="true: without the facilities' own results.")


class Assessments(OnFarm):
    needs = {"list": Need.READ}
    pagination_class = OnePage

    @extend_schema(responses=AssessmentSerializer(many=True), parameters=[AssessmentQuery])
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The farm's weekly results, oldest week first.

        Each week's latest revision: one row for the whole farm and one for each facility, a method. Levels are compared
        facility by facility; trend and growth are the farm's.
        """
        asked = self.query(AssessmentQuery)
        rows = [row for row in assessments_of(self.farm, self.since(asked)) if _wanted(row, asked)]
        return self.page(rows, AssessmentSerializer)

    def since(self, asked: dict[str, Any]) -> date:
        """The Monday from which to read."""
        return monday_of(asked.get("since") or local_date(self.now, self.farm.time_zone) - A_YEAR)


def _wanted(row: Any, asked: dict[str, Any]) -> bool:
    return row.method == asked.get("method", row.method) and not (asked.get("whole_farm") and row.facility_id)
