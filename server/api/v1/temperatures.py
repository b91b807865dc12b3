"""Daily temperatures of a farm and of a region: optional, for the time from egg to fly."""

from uuid import UUID

from drf_spectacular.utils import OpenApiExample, OpenApiTypes, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, group_for, one_of
from farms.models import Region
from farms.models.access import GroupRole
from monitoring.csv_import import read_temperatures
from monitoring.rules.temperatures import MOST_DAYS, UNITS, TemperatureTable, table_of_days
from monitoring.selectors import temperatures_of_farm, temperatures_of_region
from monitoring.services import record_farm_temperatures, record_temperatures
from server.api.fields import Body, Choice, Day, Number
from server.api.parsing import CsvBody, JsonBody
from server.api.v1.regions import own_regions_for
from server.api.views import ApiViewSet, OnFarm

EXAMPLE = OpenApiExample(
    "Two days (invented)",
    {
        "unit": "C",
        "days": [{"day": "2026-05-30", "min": 12.5, "max": 27.0}, {"day": "2026-05-31", "min": 14.0, "max": 28.5}],
    },
    media_type="application/json",
    request_only=True,
)
FILE = OpenApiExample(
    "Two days (invented)",
    "day,min,max,unit\n2026-05-30,12.5,27,C\n2026-05-31,57,83,F\n",
    media_type="text/csv",
    request_only=True,
)


class TemperatureSerializer(serializers.Serializer):
    day = serializers.DateField()
    min_c = serializers.FloatField(help_text="The day's lowest, in degrees Celsius.")
    max_c = serializers.FloatField(help_text="The day's highest, in degrees Celsius.")


class StoredDaysSerializer(serializers.Serializer):
    stored = serializers.IntegerField(help_text="Days stored, those replaced among them.")


class DayBody(Body):
    day = Day(help_text="A day that has come.")
    min = Number()
    max = Number()


class TemperaturesBody(Body):
    unit = Choice(list(UNITS), help_text="C or F, for all of these days.")
    days = DayBody.listed(MOST_DAYS)


class DaysQuery(Body):
    since = Day(required=False, help_text="This day or later.")
    until = Day(required=False, help_text="This day or earlier.")


class DaysView(ApiViewSet):
    """What both have in common: a table from the body, as JSON or as a file."""

    newest_first = ("-day",)
    parser_classes = (JsonBody, CsvBody)

    def table(self) -> TemperatureTable:
        if isinstance(self.request.data, bytes):
            return read_temperatures(self.request.data)
        body = self.body(TemperaturesBody)
        return table_of_days(((each["day"], each["min"], each["max"]) for each in body["days"]), body["unit"])


class Temperatures(OnFarm, DaysView):
    needs = {"list": Need.READ, "create": Need.RECORD}

    @extend_schema(responses=TemperatureSerializer(many=True), parameters=[DaysQuery])
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The farm's own days, newest first; its region's are at the region."""
        return self.page(temperatures_of_farm(self.farm, **self.query(DaysQuery)), TemperatureSerializer)

    @extend_schema(
        request={"application/json": TemperaturesBody, "text/csv": OpenApiTypes.STR},
        responses={200: StoredDaysSerializer},
        examples=[EXAMPLE, FILE],
    )
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Store lowest and highest temperatures measured on the farm; they go before its region's.

        All days are stored, or none where one can't be right: a lowest above the highest, outside of -60 to 60 °C, a
        day twice or still to come. A day that is known is replaced. A CSV file has the columns day, min, max and unit
        (C or F in each row); a row without both temperatures stores nothing.
        """
        return _stored(record_farm_temperatures(farm=self.farm, table=self.table(), now=self.now))


class RegionTemperatures(DaysView):
    @extend_schema(responses=TemperatureSerializer(many=True), parameters=[DaysQuery])
    def list(self, request: Request, region_id: UUID) -> Response:
        """A region's days, newest first: what holds for its farms without days of their own."""
        region = one_of(own_regions_for(self.who), region_id)
        return self.page(temperatures_of_region(region, **self.query(DaysQuery)), TemperatureSerializer)

    @extend_schema(
        request={"application/json": TemperaturesBody, "text/csv": OpenApiTypes.STR},
        responses={200: StoredDaysSerializer},
        examples=[EXAMPLE, FILE],
    )
    def create(self, request: Request, region_id: UUID) -> Response:
        """Store a region's lowest and highest temperatures; for the group's coordinators.

        What a body may hold and what is refused stands at a farm's temperatures.
        """
        region = self._region_to_write(region_id)
        return _stored(record_temperatures(region=region, table=self.table(), now=self.now))

    def _region_to_write(self, region_id: UUID) -> Region:
        region = one_of(own_regions_for(self.who).select_related("group"), region_id)
        group_for(self.who, region.group_id, role=GroupRole.COORDINATOR)
        return region


def _stored(days: int) -> Response:
    return Response(StoredDaysSerializer({"stored": days}).data)
