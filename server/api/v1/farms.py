"""The farms that somebody may read."""

from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, farms_of
from server.api.views import ApiViewSet, OnFarm


class FarmSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    name = serializers.CharField()
    group_id = serializers.UUIDField()
    region_id = serializers.UUIDField()
    holding_id = serializers.UUIDField()
    time_zone = serializers.CharField(help_text="As in the IANA database; days of the farm are days in it.")
    language = serializers.CharField()


class FarmWithRoleSerializer(FarmSerializer):
    role = serializers.CharField(help_text="What whoever asks is on this farm.")
    may = serializers.ListField(child=serializers.ChoiceField([need.value for need in Need]))


class Farms(ApiViewSet):
    newest_first = ("name", "id")

    @extend_schema(responses=FarmSerializer(many=True))
    def list(self, request: Request) -> Response:
        """The farms that you may read, by name.

        A token reads its own farm only.
        """
        return self.page(farms_of(self.who), FarmSerializer)


class OneFarm(OnFarm):
    needs = {"retrieve": Need.READ}

    @extend_schema(responses=FarmWithRoleSerializer)
    def retrieve(self, request: Request, farm_id: UUID) -> Response:
        """A farm, and what you may do there."""
        role = {"role": self.role.name, "may": sorted(self.role.may)}
        return Response({**FarmSerializer(self.farm).data, **role})
