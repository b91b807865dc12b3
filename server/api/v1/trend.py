"""A farm's trend over the weeks that are asked for."""

from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.selectors.trends import FEWEST_WEEKS, MOST_WEEKS, trends_of_farm
from farms.access import Need
from monitoring.methods import METHOD_CHOICES
from server.api.fields import Body, Day
from server.api.v1.precision import WeekOnFarm


class MethodTrendSerializer(serializers.Serializer):
    method = serializers.ChoiceField(METHOD_CHOICES)
    weeks_observed = serializers.IntegerField(help_text="Of the weeks asked for, those with a count.")
    growth = serializers.FloatField(allow_null=True, help_text="Log growth a week; exp(growth) - 1 is its share.")
    low = serializers.FloatField(allow_null=True, help_text="Lower end of the growth's 95 % interval.")
    high = serializers.FloatField(allow_null=True, help_text="Upper end of it.")
    doubling = serializers.FloatField(allow_null=True, help_text="Weeks in which it doubles; negative: halves.")
    soonest = serializers.FloatField(allow_null=True, help_text="Doubling or halving time at the far end.")
    latest = serializers.FloatField(allow_null=True, help_text="At the near end; null where it need not come at all.")
    p_value = serializers.FloatField(allow_null=True, help_text="Two-sided, of no growth.")
    reason = serializers.CharField(
        help_text="Empty, or why there is no trend: no_counts, too_few_weeks, all_zero, not_comparable, too_few_counts."
    )
    borrowed = serializers.CharField(help_text="The group's figures it rests on: quarter and version, or printed.")


class TrendSerializer(serializers.Serializer):
    week = serializers.DateField(help_text="The Monday of the last week.")
    weeks = serializers.IntegerField()
    methods = MethodTrendSerializer(many=True, help_text="One for each method that was in use.")


class TrendQuery(Body):
    week = Day(required=False, help_text="The week of this day; the newest judged unless said otherwise.")
    # A query is text, so not the whole number of a body.
    weeks = serializers.IntegerField(
        required=False, default=8, min_value=FEWEST_WEEKS, max_value=MOST_WEEKS, help_text="Over how many weeks."
    )


class TrendOfFarm(WeekOnFarm):
    needs = {"retrieve": Need.READ}
    asked_by = TrendQuery

    @extend_schema(responses=TrendSerializer, parameters=[TrendQuery])
    def retrieve(self, request: Request, farm_id: UUID) -> Response:
        """Growth a week and doubling time by each method, with intervals, from the readings as they stand now.

        Weather moves all stations of a farm together, and one week's weather is like the last: the interval rests on
        weeks, not on single counts. A station that is missing is not taken for an average one.
        """
        week, weeks = self.week(), self.query(TrendQuery)["weeks"]
        found = {"week": week, "weeks": weeks, "methods": trends_of_farm(self.farm, week, weeks)}
        return self.told(TrendSerializer(found).data)
