"""Numbered places and how they are sited."""

from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, record_of
from farms.clock import local_date
from monitoring.methods import METHOD_CHOICES
from monitoring.models import Station
from monitoring.models.station import Near
from monitoring.selectors import round_sheet, stations_of
from monitoring.services import SitingData, add_station, resite_station
from server.api.fields import Body, Choice, Day, Id, Number, Whole, YesNo
from server.api.pagination import OnePage
from server.api.v1.facilities import facility_named
from server.api.views import OnFarm

SITING = {"since": "2026-05-04", "windy": False, "near": "water", "out_of_reach": True, "x": 0.4, "y": 0.7}


class SitingSerializer(serializers.Serializer):
    since = serializers.DateField()
    windy = serializers.BooleanField()
    near = serializers.ChoiceField(Near.choices)
    out_of_reach = serializers.BooleanField(allow_null=True)
    x = serializers.FloatField(allow_null=True)
    y = serializers.FloatField(allow_null=True)


class StationSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    facility_id = serializers.UUIDField()
    method = serializers.ChoiceField(METHOD_CHOICES)
    number = serializers.IntegerField()
    label = serializers.CharField(help_text="What the farm calls it, as in Card 4.")
    position = serializers.IntegerField(help_text="Place in the walking order.")
    since = serializers.DateField()
    until = serializers.DateField(allow_null=True, help_text="The last day of its use; null while it is in use.")
    siting = SitingSerializer(allow_null=True, help_text="How it stands now.")


class SitingBody(Body):
    since = Day(help_text="It stands so from this day on.")
    windy = YesNo(default=False, help_text="In wind or draught.")
    near = Choice(Near.choices, default=Near.NOTHING.value, help_text="What close by draws flies.")
    out_of_reach = YesNo(default=None, allow_null=True, help_text="Of animals and children.")
    x = Number(default=None, allow_null=True, help_text="On the plan, from 0 (left) to 1.")
    y = Number(default=None, allow_null=True, help_text="On the plan, from 0 (top) to 1.")
    position = Whole(default=0, max_value=32767, help_text="Place in the walking order.")


class NewStation(SitingBody):
    facility_id = Id()
    method = Choice(METHOD_CHOICES)
    number = Whole(min_value=1, max_value=32767)


class SheetQuery(Body):
    on = Day(required=False, help_text="The day of the round; today unless said otherwise.")


class StationQuery(Body):
    on = Day(required=False, help_text="Those in use on this day; all of them unless it is given.")


class HangingSerializer(serializers.Serializer):
    placement_id = serializers.UUIDField(source="placement.id")
    hung_on = serializers.DateField(source="placement.hung_on")
    days = serializers.IntegerField(help_text="Up so far.")


class SheetPlaceSerializer(serializers.Serializer):
    station = StationSerializer()
    hangings = HangingSerializer(many=True, help_text="Empty for leg counts, and where nothing hangs yet.")


class RoundSheet(OnFarm):
    needs = {"list": Need.COUNT}
    pagination_class = OnePage

    @extend_schema(responses=SheetPlaceSerializer(many=True), parameters=[SheetQuery])
    def list(self, request: Request, farm_id: UUID) -> Response:
        """What a round walks: the stations in use in walking order, each with what hangs there."""
        on = self.query(SheetQuery).get("on") or local_date(self.now, self.farm.time_zone)
        return self.page(round_sheet(self.farm, on), SheetPlaceSerializer)


class Stations(OnFarm):
    needs = {"list": Need.READ, "create": Need.MANAGE, "sitings": Need.MANAGE}
    lookup_url_kwarg = "station_id"
    pagination_class = OnePage

    @extend_schema(responses=StationSerializer(many=True), parameters=[StationQuery])
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The farm's stations in walking order."""
        return self.page(stations_of(self.farm, **self.query(StationQuery)), StationSerializer)

    @extend_schema(
        request=NewStation,
        responses={201: StationSerializer},
        examples=[
            OpenApiExample(
                "A card (invented)",
                {"facility_id": "0197d0c2-5c00-7000-8000-000000000001", "method": "card", "number": 6, **SITING},
                request_only=True,
            )
        ],
    )
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Add a station, and how it is sited."""
        body = self.body(NewStation)
        facility = facility_named(self.farm, body.pop("facility_id"))
        place = {name: body.pop(name) for name in ("method", "number", "since")}
        added = add_station(farm=self.farm, facility=facility, siting=SitingData(**body), **place)
        station = next(each for each in stations_of(self.farm) if each.id == added.id)
        return Response(StationSerializer(station).data, status=201)

    @extend_schema(
        request=SitingBody,
        responses={201: SitingSerializer},
        examples=[OpenApiExample("Moved to the waterer (invented)", SITING, request_only=True)],
    )
    @action(detail=True, methods=["post"])
    def sitings(self, request: Request, farm_id: UUID, station_id: UUID) -> Response:
        """Say how a station stands from a day on; what was noted before stays for the readings of its time."""
        station = record_of(self.farm, Station, station_id)
        body = self.body(SitingBody)
        since = body.pop("since")
        siting = resite_station(farm=self.farm, station=station, siting=SitingData(**body), since=since)
        return Response(SitingSerializer(siting).data, status=201)
