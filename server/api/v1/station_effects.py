"""How each station stands beside the farm's others, and how sure that is."""

from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.selectors.station_effects import effects_of_stations
from farms.access import Need
from monitoring.methods import METHOD_CHOICES
from server.api.v1.precision import OneWeekQuery, WeekOnFarm


class StationEffectSerializer(serializers.Serializer):
    station_id = serializers.UUIDField()
    facility_id = serializers.UUIDField()
    method = serializers.ChoiceField(METHOD_CHOICES)
    number = serializers.IntegerField()
    effect = serializers.FloatField(
        source="times",
        allow_null=True,
        help_text="How many times the farm's usual station of this method it has, shrunk towards 1; null where reason "
        "says why.",
    )
    low = serializers.FloatField(allow_null=True, help_text="Lower end of its 95 % interval.")
    high = serializers.FloatField(allow_null=True, help_text="Upper end.")
    among_worst = serializers.FloatField(
        allow_null=True, help_text="Probability of being among the highest quarter, as many as worst says."
    )
    highest = serializers.FloatField(allow_null=True, help_text="Probability of being the highest of all.")
    worst = serializers.IntegerField(help_text="How many stations are the highest quarter, at least one.")
    stations = serializers.IntegerField(help_text="How many stations it was compared with, itself among them.")
    weeks_counted = serializers.IntegerField(help_text="Of the last eight weeks.")
    weeks_at_top = serializers.IntegerField(
        help_text="Counted weeks in a row, up to this one, in which it had the highest count."
    )
    question = serializers.CharField(
        help_text="What its siting makes one ask there, where it is likely among the highest: may_only_rest_here, "
        "may_be_avoided, look_here_first; else empty."
    )
    reason = serializers.CharField(
        help_text="Empty, or why nothing is said: not_counted (this station), no_counts, too_few_stations (under "
        "three), too_few_weeks (under four), all_zero, not_comparable."
    )


class StationEffectsSerializer(serializers.Serializer):
    week = serializers.DateField(help_text="The Monday of the ISO week; the seven before it count too.")
    stations = StationEffectSerializer(many=True)


class StationEffectsOfFarm(WeekOnFarm):
    needs = {"retrieve": Need.READ}

    @extend_schema(responses=StationEffectsSerializer, parameters=[OneWeekQuery])
    def retrieve(self, request: Request, farm_id: UUID) -> Response:
        """Which stations are likely the worst of the farm, from the counts of the last eight weeks.

        Each is shrunk towards the farm, the more the less it was counted; one without a count is not an average one. A
        high count can mean that flies hatch close by, or only that they rest there: the question asks which.
        """
        week = self.week()
        found = {"week": week, "stations": effects_of_stations([self.farm], week)[self.farm.id]}
        return self.told(StationEffectsSerializer(found).data)
