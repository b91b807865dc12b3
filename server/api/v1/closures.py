"""Closed to visits: a farm or a whole region, from a day on. Nobody has to say why, and no key is told."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, Who, group_for, one_of
from farms.clock import local_date
from farms.closures import closure_of, rows_of_farm, rows_of_region
from farms.models import Region, User
from farms.models.access import GroupRole
from farms.selectors import own_regions_of
from farms.services import close_farm, close_region, open_farm, open_region
from server.api.fields import Body, Day, YesNo
from server.api.pagination import OnePage
from server.api.people_only import OnFarmForPeople
from server.api.views import ApiViewSet

EXAMPLE = OpenApiExample("From a day on (invented)", {"closed": True, "from_on": "2026-06-08"}, request_only=True)


class ClosureSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    closed = serializers.BooleanField(help_text="true: closed to visits from this day on; false: open again.")
    from_on = serializers.DateField()
    set_by_id = serializers.UUIDField()
    set_at = serializers.DateTimeField()


class AppliedClosureSerializer(serializers.Serializer):
    farm_id = serializers.UUIDField()
    closed = serializers.BooleanField()
    from_on = serializers.DateField(allow_null=True, help_text="The first day; null where visits are open.")
    open_from = serializers.DateField(allow_null=True, help_text="From when visits are open again, where that is set.")
    whole_region = serializers.BooleanField(help_text="Whether it is the region's and not the farm's own.")


class NewClosure(Body):
    closed = YesNo(help_text="true closes from the day on, false lifts it from the day on.")
    from_on = Day(help_text="Today or later, at most a year ahead.")


class ClosedOnQuery(Body):
    on = Day(required=False, help_text="Today unless said otherwise.")


class Closures(OnFarmForPeople):
    needs = {"list": Need.READ, "applied": Need.READ, "create": Need.MANAGE}
    pagination_class = OnePage

    @extend_schema(responses=ClosureSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """Everything that was set for this farm, in the order in which it was set.

        Each row holds from its day on, over what was set before it. For the farm's people and its advisers, not for
        keys; it stands in no report and in no feed.
        """
        return self.page(rows_of_farm(self.farm), ClosureSerializer)

    @extend_schema(request=NewClosure, responses={201: ClosureSerializer}, examples=[EXAMPLE])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Close the farm to visits from a day on, or open it again; for its owner and its adviser.

        Planned visits become calls meanwhile. Counting goes on.
        """
        body = self.body(NewClosure)
        act = close_farm if body["closed"] else open_farm
        row = act(farm=self.farm, from_on=body["from_on"], by=self.user, now=self.now)
        return Response(ClosureSerializer(row).data, status=201)

    @extend_schema(responses=AppliedClosureSerializer, parameters=[ClosedOnQuery])
    @action(detail=False)
    def applied(self, request: Request, farm_id: UUID) -> Response:
        """Whether the farm is closed to visits on a day, by itself or with its region."""
        on = self.query(ClosedOnQuery).get("on") or local_date(self.now, self.farm.time_zone)
        found = closure_of(self.farm, on)
        told: dict[str, Any] = {
            "farm_id": self.farm.id,
            "closed": found is not None,
            "from_on": None,
            "open_from": None,
            "whole_region": False,
        }
        return self.told(AppliedClosureSerializer(told | (vars(found) if found else {})).data)


class RegionClosures(ApiViewSet):
    pagination_class = OnePage

    @extend_schema(responses=ClosureSerializer(many=True))
    def list(self, request: Request, region_id: UUID) -> Response:
        """Everything that was set for a region, in the order in which it was set; for the people of its group."""
        return self.page(rows_of_region(one_of(_regions_of(self.who), region_id).id), ClosureSerializer)

    @extend_schema(request=NewClosure, responses={201: ClosureSerializer}, examples=[EXAMPLE])
    def create(self, request: Request, region_id: UUID) -> Response:
        """Close every farm of a region to visits from a day on, or lift that; for the group's coordinators.

        A farm that closed by itself stays closed.
        """
        region = one_of(_regions_of(self.who), region_id)
        group_for(self.who, region.group_id, role=GroupRole.COORDINATOR)
        body = self.body(NewClosure)
        act = close_region if body["closed"] else open_region
        row = act(region=region, from_on=body["from_on"], by=self.user, now=self.now)
        return Response(ClosureSerializer(row).data, status=201)


def _regions_of(who: Who) -> Any:
    return own_regions_of(who) if isinstance(who, User) else Region.objects.none()
