"""The farms that somebody may read."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, farms_of
from farms.models import Farm
from farms.models.group import LANGUAGES
from farms.services import change_farm
from server.api.fields import Body, Choice, Text
from server.api.views import ApiViewSet, OnFarm

RENAMED = OpenApiExample("Another name (invented)", {"name": "Quarry Side"}, request_only=True)


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


class FarmBody(Body):
    name = Text(max_length=120)
    language = Choice(LANGUAGES)


class Farms(ApiViewSet):
    newest_first = ("name", "id")

    @extend_schema(responses=FarmSerializer(many=True))
    def list(self, request: Request) -> Response:
        """The farms that you may read, by name.

        A token reads its own farm only.
        """
        return self.page(farms_of(self.who), FarmSerializer)


class OneFarm(OnFarm):
    needs = {"retrieve": Need.READ, "partial_update": Need.OWN}
    changeable = True

    @extend_schema(responses=FarmWithRoleSerializer)
    def retrieve(self, request: Request, farm_id: UUID) -> Response:
        """A farm, and what you may do there."""
        return self.told(self.shown(self.farm))

    @extend_schema(request=FarmBody, responses=FarmWithRoleSerializer, examples=[RENAMED])
    def partial_update(self, request: Request, farm_id: UUID) -> Response:
        """Give the farm another name or language; for its owner."""
        farm = self.to_change(farms_of(self.who), farm_id)
        self.match(self.shown(farm))
        values = {"name": farm.name, "language": farm.language, **self.body(FarmBody, partial=True)}
        return self.told(self.shown(change_farm(farm=farm, **values)))

    def shown(self, farm: Farm) -> dict[str, Any]:
        return {**FarmSerializer(farm).data, "role": self.role.name, "may": sorted(self.role.may)}
