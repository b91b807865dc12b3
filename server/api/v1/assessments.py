"""What the weekly check concluded."""

import math
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.models import Assessment
from alerts.models.assessment import LevelWord, TrendWord
from alerts.selectors import assessments_of
from farms.access import Need
from farms.clock import local_date, monday_of
from monitoring.methods import METHOD_CHOICES
from server.api.fields import Body, Choice, Day, Flag
from server.api.pagination import OnePage
from server.api.views import OnFarm

A_YEAR = timedelta(weeks=52)


class AheadSerializer(serializers.Serializer):
    weeks = serializers.IntegerField(help_text="Weeks after the assessed one.")
    median = serializers.FloatField(help_text="What a round will count is as likely above as below this.")
    low = serializers.FloatField(help_text="Lower end of the 80 % interval.")
    high = serializers.FloatField(help_text="Upper end of it.")
    over = serializers.FloatField(
        allow_null=True, help_text="Probability that the count will be over the action level."
    )


class CrossingSerializer(serializers.Serializer):
    word = serializers.CharField(help_text="in_sight, over_now, not_in_sight (within six weeks) or no_level.")
    weeks = serializers.IntegerField(required=False, help_text="First week that is likelier over than not.")
    soonest = serializers.IntegerField(required=False, help_text="First week with one chance in ten to be over.")
    latest = serializers.IntegerField(
        required=False, allow_null=True, help_text="First week with nine chances in ten; null: not within six weeks."
    )


class OutlookSerializer(serializers.Serializer):
    ahead = AheadSerializer(many=True, required=False, help_text="One, two and three weeks ahead.")
    crossing = CrossingSerializer(required=False, help_text="When the action level is likely crossed.")


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
    over_probability = serializers.FloatField(
        allow_null=True, help_text="Probability that the true mean is over the action level, whatever was counted."
    )
    growth = serializers.FloatField(allow_null=True, help_text="Log growth a week over the last eight weeks.")
    growth_low = serializers.FloatField(allow_null=True, help_text="Lower end of the growth's 95 % interval.")
    growth_high = serializers.FloatField(allow_null=True, help_text="Upper end of it.")
    doubling_weeks = serializers.SerializerMethodField(
        help_text="Weeks in which the level doubles at this growth; negative: halves. Null without growth."
    )
    p_value = serializers.FloatField(allow_null=True, help_text="Two-sided, of no growth over the last eight weeks.")
    p_rise = serializers.FloatField(
        allow_null=True, help_text="The farm's own test: the share of level farms that would rise so by chance."
    )
    p_fall = serializers.FloatField(allow_null=True, help_text="Likewise for a fall.")
    weeks_observed = serializers.IntegerField(help_text="Of the last twelve weeks.")
    outlook = OutlookSerializer(help_text="The weeks ahead; empty where nothing can be said (evidence.trend says why).")
    borrowed = serializers.CharField(
        help_text="Which figures of the group the farm's own weeks are judged with: quarter and version, or printed."
    )
    evidence = serializers.DictField(help_text="Where most of it is, and what to keep in mind.")
    code_version = serializers.CharField()

    @extend_schema_field(serializers.FloatField(allow_null=True))
    def get_doubling_weeks(self, row: Assessment) -> float | None:
        """Ln 2 over the growth."""
        return round(math.log(2) / row.growth, 2) if row.growth else None


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
        facility by facility; trend, growth and outlook are the farm's. A farm's own test names one level farm in
        twenty as rising in any one week.
        """
        asked = self.query(AssessmentQuery)
        rows = [row for row in assessments_of(self.farm, self.since(asked)) if _wanted(row, asked)]
        return self.page(rows, AssessmentSerializer)

    def since(self, asked: dict[str, Any]) -> date:
        """The Monday from which to read."""
        return monday_of(asked.get("since") or local_date(self.now, self.farm.time_zone) - A_YEAR)


def _wanted(row: Any, asked: dict[str, Any]) -> bool:
    return row.method == asked.get("method", row.method) and not (asked.get("whole_farm") and row.facility_id)
