"""A farm's weeks between the limits of its own past."""

from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.selectors.own_past import own_past_of
from farms.access import Need
from monitoring.methods import METHOD_CHOICES
from server.api.v1.precision import OneWeekQuery, WeekOnFarm


class PastWeekSerializer(serializers.Serializer):
    week = serializers.DateField(help_text="The Monday of the ISO week.")
    level = serializers.FloatField(
        allow_null=True, help_text="The smoothed level, in the method's unit; null where reason says why."
    )
    low = serializers.FloatField(allow_null=True, help_text="Its lower limit.")
    high = serializers.FloatField(allow_null=True, help_text="Its upper limit.")
    expected = serializers.FloatField(
        allow_null=True, help_text="What the farm's weeks before let expect of this week."
    )
    word = serializers.CharField(help_text="above, below or within the limits; empty where nothing can be said.")
    weeks_outside = serializers.IntegerField(
        help_text="Weeks in a row on the same side, up to this one; weeks without a count are passed over."
    )
    basis = serializers.CharField(
        help_text="season: by the farm's own earlier years and its last weeks; weeks: by its last twelve weeks only."
    )
    reason = serializers.CharField(
        help_text="Empty, or why nothing is said: not_counted, too_few_weeks (six must have been counted before), "
        "too_few_counts, all_zero, not_comparable (other stations than before), sprayed_or_cold (a low leg count)."
    )


class MethodPastSerializer(serializers.Serializer):
    method = serializers.ChoiceField(METHOD_CHOICES)
    run_length = serializers.FloatField(
        help_text="Weeks, on average, until a farm that stays level first leaves the limits by chance."
    )
    lent = serializers.BooleanField(
        help_text="How weeks scatter is known from 30 or more holdings of the group. Where it is not, printed figures "
        "stand in, and a level farm leaves the limits after 35 to 120 weeks."
    )
    weeks = PastWeekSerializer(many=True, help_text="Oldest first, at most thirty; the last is the week asked for.")


class OwnPastSerializer(serializers.Serializer):
    week = serializers.DateField(help_text="The Monday of the ISO week.")
    methods = MethodPastSerializer(many=True, help_text="One for each method counted in these weeks.")


class OwnPastOfFarm(WeekOnFarm):
    needs = {"retrieve": Need.READ}

    @extend_schema(responses=OwnPastSerializer, parameters=[OneWeekQuery])
    def retrieve(self, request: Request, farm_id: UUID) -> Response:
        """Whether each week was unlike the farm's own past: an exponentially weighted average with its limits.

        Each week is held against the twelve before it, and from a second year on against the time of the year as well;
        nothing is judged by what came later, and no other farm's counts are in it. From the farm's readings as they
        stand now. A low level is no proof that something worked.
        """
        week = self.week()
        found = {"week": week, "methods": own_past_of(self.farm, week)}
        return self.told(OwnPastSerializer(found).data)
