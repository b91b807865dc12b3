"""What a farm's results of a week borrow from its group."""

from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.selectors.borrowed import figures_of_results
from farms.access import Need
from monitoring.methods import METHOD_CHOICES
from server.api.v1.precision import OneWeekQuery, WeekOnFarm


class FiguresSerializer(serializers.Serializer):
    quarter = serializers.DateField(help_text="The first day of the quarter in whose weeks they are used.")
    version = serializers.IntegerField()
    farms = serializers.IntegerField(help_text="How many farms they come from.")
    holdings = serializers.IntegerField(help_text="Of how many holdings: 30 or more.")
    shock = serializers.FloatField(help_text="Standard deviation of the log of a week's shock to a whole farm.")
    stays = serializers.FloatField(help_text="Correlation of a week's shock with the next week's.")
    counting = serializers.FloatField(help_text="What the scatter of counts is multiplied by.")
    growth = serializers.FloatField(help_text="Standard deviation of the log growth a week of farms that change.")
    degrees = serializers.FloatField(help_text="Degrees of freedom that the group's scale of weeks is worth.")
    weight_k = serializers.FloatField(
        help_text="What counts are weighted with; it takes up what else is wrong and is not the method's k."
    )
    leg_k = serializers.FloatField(allow_null=True, help_text="k of flies on an animal, from 30 or more leg counts.")
    taylor_a = serializers.FloatField(
        allow_null=True, help_text="a of the power law, variance a m^b between devices: of the mean variance."
    )
    taylor_b = serializers.FloatField(allow_null=True, help_text="b of it.")


class LentSerializer(serializers.Serializer):
    method = serializers.ChoiceField(METHOD_CHOICES)
    name = serializers.CharField(help_text="As in the assessment: quarter and version, or printed.")
    figures = FiguresSerializer(
        allow_null=True, help_text="Null where fewer than 30 holdings had counted long enough: printed figures hold."
    )


class WeekOfBorrowedFiguresSerializer(serializers.Serializer):
    week = serializers.DateField(help_text="The Monday of the ISO week.")
    methods = LentSerializer(many=True, help_text="One for each method that was judged for the whole farm.")


class BorrowedFiguresOfFarm(WeekOnFarm):
    needs = {"retrieve": Need.READ}

    @extend_schema(responses=WeekOfBorrowedFiguresSerializer, parameters=[OneWeekQuery])
    def retrieve(self, request: Request, farm_id: UUID) -> Response:
        """The group's pooled figures that this farm's results of a week rest on, beside its own weeks.

        Fitted once a quarter from the twelve weeks before it, of 30 or more holdings, rounded to two digits and then
        fixed: no single farm shows in them, and no other farm's count of this quarter changes this farm's results.
        """
        week = self.week()
        found = {"week": week, "methods": figures_of_results(self.farm, week)}
        return self.told(WeekOfBorrowedFiguresSerializer(found).data)
