"""Barns and lots."""

from uuid import UUID

from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, one_of
from farms.errors import Invalid, Missing
from farms.models import Facility, Farm
from farms.models.farm import FacilityKind
from farms.selectors import facilities_of
from farms.services import add_facility
from server.api.fields import Body, Choice, Text, Whole
from server.api.pagination import OnePage
from server.api.views import OnFarm

EXAMPLE = OpenApiExample(
    "A calf barn (invented)", {"name": "North calf barn", "kind": "calf_barn", "position": 2}, request_only=True
)


class FacilityUnknown(Invalid):
    code = "facility_unknown"
    message = _("This farm has no such barn or lot. Take facility_id from the list of facilities.")


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


def facility_named(farm: Farm, facility_id: UUID | None) -> Facility | None:
    """The facility that a body names. Raises FacilityUnknown, which points at it."""
    try:
        return None if facility_id is None else one_of(facilities_of(farm), facility_id)
    except Missing as error:
        raise FacilityUnknown(pointer="/facility_id") from error
