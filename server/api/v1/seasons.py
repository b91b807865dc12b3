"""The parts of a year in which a farm counts."""

from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, one_of
from farms.selectors import seasons_of
from farms.services import close_season, open_season
from server.api.fields import Body, Day
from server.api.pagination import OnePage
from server.api.views import OnFarm


class SeasonSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    opens_on = serializers.DateField()
    closes_on = serializers.DateField(allow_null=True, help_text="The last day; null while it is open.")


class NewSeason(Body):
    opens_on = Day()


class SeasonEnd(Body):
    closes_on = Day()


class Seasons(OnFarm):
    needs = {"list": Need.READ, "retrieve": Need.READ, "create": Need.MANAGE, "partial_update": Need.MANAGE}
    pagination_class = OnePage
    changeable = True
    lookup_url_kwarg = "season_id"

    @extend_schema(responses=SeasonSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The farm's seasons, newest first."""
        return self.page(seasons_of(self.farm), SeasonSerializer)

    @extend_schema(responses=SeasonSerializer)
    def retrieve(self, request: Request, farm_id: UUID, season_id: UUID) -> Response:
        """One season."""
        return self.told(SeasonSerializer(one_of(seasons_of(self.farm), season_id)).data)

    @extend_schema(
        request=NewSeason,
        responses={201: SeasonSerializer},
        examples=[OpenApiExample("From the first of May", {"opens_on": "2026-05-01"}, request_only=True)],
    )
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Open a season.

        Rounds are taken on the days of a season only; out of season nothing is overdue.
        """
        season = open_season(farm=self.farm, opens_on=self.body(NewSeason)["opens_on"])
        return Response(SeasonSerializer(season).data, status=201)

    @extend_schema(
        request=SeasonEnd,
        responses=SeasonSerializer,
        examples=[OpenApiExample("Until the end of October", {"closes_on": "2026-10-31"}, request_only=True)],
    )
    def partial_update(self, request: Request, farm_id: UUID, season_id: UUID) -> Response:
        """Close a season after its last day, or move that day."""
        season = self.to_change(seasons_of(self.farm), season_id)
        self.match(SeasonSerializer(season).data)
        closed = close_season(season=season, closes_on=self.body(SeasonEnd)["closes_on"])
        return self.told(SeasonSerializer(closed).data)
