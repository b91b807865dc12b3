"""How well a farm's means are known, and how much more counting would help."""

from datetime import date
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.selectors import newest_week
from alerts.selectors.precision import precision_of_farm
from farms.access import Need
from farms.clock import local_date, monday_of
from monitoring.methods import METHOD_CHOICES
from server.api.fields import Body, Day
from server.api.views import OnFarm

SOURCES = ("own", "taylor", "published", "group", "inferred", "none")
# Nothing was counted before it, and no calendar ends near it.
EARLIEST = date(1970, 1, 5)


class UnevennessSerializer(serializers.Serializer):
    counts = serializers.IntegerField(help_text="How many counts this rests on.")
    k = serializers.FloatField(
        allow_null=True, help_text="k of the negative binomial by maximum likelihood: a variance of m + m^2/k."
    )
    k_error = serializers.FloatField(allow_null=True, help_text="Its standard error.")
    k_by_moments = serializers.FloatField(allow_null=True, help_text="k from mean and variance alone.")
    reason = serializers.CharField(
        help_text="Empty, or why there is no k: no_counts, too_few_counts (under five), all_zero, no_overdispersion "
        "(as even as chance allows), at_least, estimated (by the cup, or nothing on a part), unlike_days."
    )
    zeros = serializers.FloatField(allow_null=True, help_text="The share of counts of nothing at all.")
    zeros_expected = serializers.FloatField(allow_null=True, help_text="The share that mean and k let expect.")


class PrecisionSerializer(serializers.Serializer):
    method = serializers.ChoiceField(METHOD_CHOICES)
    devices = serializers.IntegerField(
        help_text="Cards or traps with a count (two at one place are one), or animals looked at."
    )
    mean = serializers.FloatField(allow_null=True, help_text="In the method's unit; null where nothing was counted.")
    mean_per_leg = serializers.FloatField(allow_null=True, help_text="Of leg counts: a quarter of an animal's.")
    relative_variance = serializers.FloatField(
        allow_null=True, help_text="Variance between devices over the square of their mean."
    )
    source = serializers.ChoiceField(
        SOURCES,
        help_text="own: of the farm's last twelve weeks, from four degrees of freedom; taylor: the group's power law; "
        "published: Gerry et al. 2011, Journal of Economic Entomology 104(3); group: the k of the group's leg counts; "
        "inferred: k 1.4, our own inference from 47 % of legs without flies at a mean of 1 a leg.",
    )
    reached = serializers.FloatField(allow_null=True, help_text="Standard error of the mean as a share of it.")
    for_a_quarter = serializers.IntegerField(
        allow_null=True, help_text="Devices that bring the standard error to 25 % of the mean."
    )
    for_15_percent = serializers.IntegerField(allow_null=True, help_text="Devices that bring it to 15 %.")
    reason = serializers.CharField(
        help_text="Empty, or why a figure is missing: no_count, nothing_caught, at_least, too_few_data."
    )
    unevenness = UnevennessSerializer(help_text="How unevenly this week's counts scatter.")


class WeekOfPrecisionSerializer(serializers.Serializer):
    week = serializers.DateField(help_text="The Monday of the ISO week.")
    methods = PrecisionSerializer(many=True, help_text="One for each method in use that week.")


class OneWeekQuery(Body):
    week = Day(required=False, help_text="The week of this day; the newest judged unless said otherwise.")


class WeekOnFarm(OnFarm):
    """One week of a farm: the newest judged, or the one asked for."""

    needs = {"retrieve": Need.READ}
    asked_by: type[Body] = OneWeekQuery

    def week(self) -> date:
        """The Monday. What lies outside of any season is the nearest week that doesn't."""
        today = local_date(self.now, self.farm.time_zone)
        asked = self.query(self.asked_by).get("week") or newest_week(self.farm) or today
        return max(min(monday_of(asked), monday_of(today)), EARLIEST)


class PrecisionOfFarm(WeekOnFarm):
    needs = {"retrieve": Need.READ}

    @extend_schema(responses=WeekOfPrecisionSerializer, parameters=[OneWeekQuery])
    def retrieve(self, request: Request, farm_id: UUID) -> Response:
        """How well each mean of a week is known, and how many cards, traps or animals would be enough.

        From the farm's own readings as they stand now. A standard error of 15 % of the mean took 12 spot cards or 7 jug
        traps on large dairies (Gerry et al. 2011, Journal of Economic Entomology 104(3)).
        """
        week = self.week()
        found = {"week": week, "methods": precision_of_farm(self.farm, week)}
        return self.told(WeekOfPrecisionSerializer(found).data)
