"""From egg to fly on a farm: dates, how often a clean-out comes in time, and the reasons where there is none."""

from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need
from farms.clock import local_date
from monitoring.selectors import development_of_farms
from monitoring.selectors.development import KINDS
from server.api.fields import Body, Day
from server.api.views import OnFarm

WHY_DATE = "Empty, or why there is none: no_temperatures, not_in_sight (not within 120 days), too_hot."
AHEAD = ("earlier_years", "recent_days", "none")


class DatesSerializer(serializers.Serializer):
    earliest = serializers.DateField(allow_null=True)
    latest = serializers.DateField(allow_null=True)
    why_no_earliest = serializers.CharField(help_text=WHY_DATE)
    why_no_latest = serializers.CharField(help_text=WHY_DATE)


class SpanSerializer(serializers.Serializer):
    shortest = serializers.FloatField(allow_null=True, help_text="Days.")
    longest = serializers.FloatField(allow_null=True, help_text="Days.")
    reason = serializers.CharField(help_text="Empty, or why a number is missing: no_temperatures, not_in_sight.")


class WeekTemperedSerializer(serializers.Serializer):
    maggots_leave = SpanSerializer(
        help_text="From egg to leaving the bedding, if all days were like those of the week."
    )
    flies = SpanSerializer(help_text="From egg to fly, if all days were like those of the week.")
    clean_every = serializers.IntegerField(
        allow_null=True,
        help_text="The longest interval between clean-outs, in days, that still takes the quickest out.",
    )
    seven_is_too_long = serializers.BooleanField(help_text="A clean-out once a week can come too late.")
    in_heat = serializers.BooleanField(help_text="The days reach 27 °C or more in the mean.")


class KindSerializer(serializers.Serializer):
    kind = serializers.ChoiceField(list(KINDS))
    maggots_leave = DatesSerializer(help_text="When the maggots of those eggs leave the bedding.")
    flies = DatesSerializer(help_text="When those eggs are flies.")
    last_week = WeekTemperedSerializer(help_text="At the temperatures of the last seven days.")
    next_week = WeekTemperedSerializer(help_text="At the temperatures usual in the next seven days.")


class DevelopmentSerializer(serializers.Serializer):
    day = serializers.DateField(help_text="Today on the farm; nothing later is taken as known.")
    laid = serializers.DateField(help_text="The day on which the eggs are laid.")
    own_days = serializers.IntegerField(help_text="Of the last seven days, those measured on the farm.")
    region_days = serializers.IntegerField(help_text="Of the last seven days, those known of its region only.")
    ahead = serializers.ChoiceField(AHEAD, help_text="What stands for the days to come.")
    kinds = KindSerializer(many=True)


class LaidQuery(Body):
    laid = Day(required=False, help_text="For eggs of this day; today unless said otherwise.")


class DevelopmentOfFarm(OnFarm):
    needs = {"retrieve": Need.READ}

    @extend_schema(responses=DevelopmentSerializer, parameters=[LaidQuery])
    def retrieve(self, request: Request, farm_id: UUID) -> Response:
        """When eggs laid on a day can be flies, and how often bedding would have to be cleaned, at known temperatures.

        Ranges, not predictions: from the lines that can be drawn through what was published and observed, and a tenth
        of the warmth on either side. House flies: Lysyk and Axtell 1987, The Canadian Entomologist 119, days at 16 and
        35 °C, between them our own interpolation, and older work's 6 to 7 days at 27 to 32 °C. Stable flies: Gilles,
        David and Duvallet 2005, Journal of Medical Entomology 42. Gas in manure pits, cattle and machines can hurt:
        local rules come first.
        """
        today = local_date(self.now, self.farm.time_zone)
        laid = self.query(LaidQuery).get("laid")
        found = development_of_farms([self.farm], today, laid)[self.farm.id]
        return self.told(DevelopmentSerializer(found).data)
