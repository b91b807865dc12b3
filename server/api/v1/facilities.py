"""Barns and lots."""

from typing import Any
from uuid import UUID

from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, may_locate, one_of
from farms.errors import Invalid, Missing
from farms.models import Facility, Farm
from farms.models.farm import FacilityKind
from farms.selectors import facilities_of
from farms.services import add_facility, change_facility
from server.api.fields import Body, Choice, Number, Text, Whole
from server.api.pagination import OnePage
from server.api.views import OnFarm

EXAMPLE = OpenApiExample(
    "A calf barn (invented)", {"name": "North calf barn", "kind": "calf_barn", "position": 2}, request_only=True
)


MOVED = OpenApiExample("Where it stands (invented)", {"latitude": 43.1, "longitude": -89.4}, request_only=True)
WHERE = "Decimal degrees, WGS 84; for the farm's people and its advisers only, no key is told."
DEGREES = "Decimal degrees, WGS 84. Both, or null for both."
PLACE = ("latitude", "longitude")


class FacilityUnknown(Invalid):
    code = "facility_unknown"
    message = _("This farm has no such barn or lot. Take facility_id from the list of facilities.")


class FacilitySerializer(serializers.Serializer):
    id = serializers.UUIDField()
    name = serializers.CharField()
    kind = serializers.ChoiceField(FacilityKind.choices)
    position = serializers.IntegerField(help_text="Place in the walking order.")
    latitude = serializers.FloatField(allow_null=True, required=False, help_text=WHERE)
    longitude = serializers.FloatField(allow_null=True, required=False, help_text=WHERE)

    def get_fields(self) -> dict[str, Any]:
        """Without the place on the earth, unless whoever asks may know it."""
        fields: dict[str, Any] = super().get_fields()
        return fields if self.context["located"] else {name: fields[name] for name in fields if name not in PLACE}


class NewFacility(Body):
    name = Text(max_length=120)
    kind = Choice(FacilityKind.choices)
    position = Whole(default=0, max_value=32767)
    latitude = Number(default=None, allow_null=True, min_value=-90, max_value=90, help_text=DEGREES)
    longitude = Number(default=None, allow_null=True, min_value=-180, max_value=180, help_text=DEGREES)


class ChangedFacility(NewFacility):
    """What becomes different; what isn't named stays."""


class Facilities(OnFarm):
    needs = {"list": Need.READ, "retrieve": Need.READ, "create": Need.MANAGE, "partial_update": Need.MANAGE}
    pagination_class = OnePage
    changeable = True
    lookup_url_kwarg = "facility_id"

    @extend_schema(responses=FacilitySerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The farm's barns and lots, in walking order."""
        return self.page(facilities_of(self.farm), FacilitySerializer)

    @extend_schema(responses=FacilitySerializer)
    def retrieve(self, request: Request, farm_id: UUID, facility_id: UUID) -> Response:
        """One barn or lot."""
        return self.told(self.shown(one_of(facilities_of(self.farm), facility_id)))

    @extend_schema(request=NewFacility, responses={201: FacilitySerializer}, examples=[EXAMPLE])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Add a barn or lot."""
        return self.told(self.shown(add_facility(farm=self.farm, **self.body(NewFacility))), status=201)

    @extend_schema(request=ChangedFacility, responses=FacilitySerializer, examples=[MOVED])
    def partial_update(self, request: Request, farm_id: UUID, facility_id: UUID) -> Response:
        """Change a barn or lot: its name, its kind, its place in the walking order or on the earth."""
        facility = self.to_change(facilities_of(self.farm), facility_id)
        self.match(self.shown(facility))
        return self.told(
            self.shown(change_facility(facility=facility, changes=self.body(ChangedFacility, partial=True)))
        )

    def shown(self, facility: Facility) -> Any:
        return FacilitySerializer(facility, context=self.get_serializer_context()).data

    def get_serializer_context(self) -> dict[str, Any]:
        return {**super().get_serializer_context(), "located": may_locate(self.who)}


def facility_named(farm: Farm, facility_id: UUID | None) -> Facility | None:
    """The facility that a body names. Raises FacilityUnknown, which points at it."""
    try:
        return None if facility_id is None else one_of(facilities_of(farm), facility_id)
    except Missing as error:
        raise FacilityUnknown(pointer="/facility_id") from error
