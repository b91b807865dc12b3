"""Barns and lots."""

from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need
from farms.models.farm import FacilityKind
from farms.selectors import facilities_of
from farms.services import add_facility
from server.api.fields import Body, Choice, Text, Whole
from server.api.pagination import OnePage
from server.api.views import OnFarm

EXAMPLE = OpenApiExample(
    "A calf barn (invented)", {"name": "North calf barn", "kind": "calf_barn", "position": 2}, request_only=True
)


class FacilitySerializer(serializers.Serializer):
    id = serializers.UUIDField()
    name = serializers.CharField()
    kind = serializers.ChoiceField(FacilityKind.choices)
    position = serializers.IntegerField(help_text="Place in the walking order.")


class NewFacility(Body):
    name = Text(max_length=120)
    kind = Choice(FacilityKind.choices)
    position = Whole(default=0, max_value=32767)


class Facilities(OnFarm):
    needs = {"list": Need.READ, "create": Need.MANAGE}
    pagination_class = OnePage

    @extend_schema(responses=FacilitySerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The farm's barns and lots, in walking order."""
        return self.page(facilities_of(self.farm), FacilitySerializer)

    @extend_schema(request=NewFacility, responses={201: FacilitySerializer}, examples=[EXAMPLE])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Add a barn or lot."""
        facility = add_facility(farm=self.farm, **self.body(NewFacility))
        return Response(FacilitySerializer(facility).data, status=201)
