"""A farm's plan: its sheet, what is built on it, and where the stations are."""

from typing import Any
from uuid import UUID

from django.http import HttpResponse
from drf_spectacular.utils import OpenApiTypes, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need
from farms.errors import Missing
from monitoring.rules.pictures import MEDIA_TYPES
from monitoring.selectors import outlines_of, pictures_of, plan_of, spots_of
from server.api.fields import Body, Day
from server.api.people_only import OnFarmForPeople
from server.api.v1.exports import ByAddress
from server.api.views import OnFarm


class OutlineSerializer(serializers.Serializer):
    name = serializers.CharField(help_text="Empty where it is a facility's.")
    facility_id = serializers.UUIDField(allow_null=True)
    points = serializers.ListField(
        child=serializers.ListField(child=serializers.FloatField(), min_length=2, max_length=2),
        help_text="Corners: from the left and from the top, each from 0 to 1.",
    )


class SpotSerializer(serializers.Serializer):
    station_id = serializers.UUIDField()
    x = serializers.FloatField(help_text="From the left, 0 to 1.")
    y = serializers.FloatField(help_text="From the top, 0 to 1.")


class PlanSerializer(serializers.Serializer):
    id = serializers.UUIDField(allow_null=True, help_text="Null where nobody has drawn a plan yet.")
    since = serializers.DateField(allow_null=True, help_text="It holds from this day on.")
    width = serializers.IntegerField(allow_null=True, help_text="With height, the shape of the sheet.")
    height = serializers.IntegerField(allow_null=True)
    has_picture = serializers.BooleanField(help_text="Whether a picture lies under it; it is at plan/picture.")
    outlines = OutlineSerializer(many=True)
    stations = SpotSerializer(many=True, help_text="Those that have a place on it.")


class PlanQuery(Body):
    on = Day(required=False, help_text="The plan that held on this day; the newest unless it is given.")


class PlanOfFarm(OnFarm):
    needs = {"retrieve": Need.READ}

    @extend_schema(responses=PlanSerializer, parameters=[PlanQuery])
    def retrieve(self, request: Request, farm_id: UUID) -> Response:
        """The farm's plan: barns and lots as outlines, and where the stations are, all from 0 (left, top) to 1.

        Of the time before the first plan, that one. No place on the earth is in it.
        """
        on = self.query(PlanQuery).get("on")
        plan = plan_of(self.farm, on)
        told: dict[str, Any] = {
            "id": None, "since": None, "width": None, "height": None, "has_picture": False,
            "outlines": outlines_of(plan),
            "stations": [
                {"station_id": station_id, "x": x, "y": y} for station_id, (x, y) in spots_of(self.farm, on).items()
            ],
        }  # fmt: skip
        if plan is not None:
            told |= {name: getattr(plan, name) for name in ("id", "since", "width", "height")}
            told["has_picture"] = plan.picture_id is not None
        return self.told(PlanSerializer(told).data)


class PlanPictureOfFarm(OnFarmForPeople):
    needs = {"retrieve": Need.READ}
    content_negotiation_class = ByAddress

    @extend_schema(responses={(200, "image/*"): OpenApiTypes.BINARY}, parameters=[PlanQuery])
    def retrieve(self, request: Request, farm_id: UUID) -> HttpResponse:
        """The picture under the plan, JPEG or PNG; not for keys, since a photo from above shows where the farm is."""
        plan = plan_of(self.farm, self.query(PlanQuery).get("on"))
        picture = pictures_of(self.farm).filter(id=plan.picture_id).first() if plan and plan.picture_id else None
        if picture is None:
            raise Missing()
        response = HttpResponse(bytes(picture.content), content_type=MEDIA_TYPES[picture.kind])
        response.headers["X-Content-Type-Options"] = "nosniff"
        return response
