"""Photos of rounds: the list, and each picture by itself."""

from uuid import UUID

from django.http import HttpResponse
from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import OpenApiTypes, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, one_of
from farms.errors import Missing
from farms.models.chain import ActorKind
from monitoring.models.photo import PhotoKind
from monitoring.selectors import photos_of, picture_of
from server.api.fields import Body, Choice, Day, Id
from server.api.v1.exports import ByAddress
from server.api.views import OnFarm, renamed

ON_PLAN = "On the farm's plan, from 0 (left, top) to 1; null where it isn't on it."
# The column, and how, that each part of the query is about.
ASKED = {"round_id": "round_id", "kind": "kind", "since": "round__walked_on__gte", "until": "round__walked_on__lte"}


class PhotoErased(Missing):
    code = "photo_erased"
    message = _("The picture of this photo was erased. That there was one stays on record.")


class PhotoSerializer(serializers.Serializer):
    """A photo without its picture, and without who took it."""

    id = serializers.UUIDField()
    round_id = serializers.UUIDField()
    station_id = serializers.UUIDField(allow_null=True)
    facility_id = serializers.UUIDField(allow_null=True)
    kind = serializers.ChoiceField(PhotoKind.choices, help_text="hatching: a place where flies hatch.")
    taken_at = serializers.DateTimeField(help_text="By the sender's clock.")
    x = serializers.FloatField(allow_null=True, help_text=ON_PLAN)
    y = serializers.FloatField(allow_null=True, help_text=ON_PLAN)
    width = serializers.IntegerField(help_text="In pixels, as it is kept.")
    height = serializers.IntegerField()
    erased = serializers.BooleanField(help_text="Whether its picture was erased.")
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    received_at = serializers.DateTimeField()
    entry = serializers.IntegerField(help_text="The entry of the farm's chain with which it was stored.")


class PhotoQuery(Body):
    round_id = Id(required=False)
    kind = Choice(PhotoKind.choices, required=False)
    since = Day(required=False, help_text="Of rounds walked on this day or later.")
    until = Day(required=False, help_text="Of rounds walked on this day or earlier.")


class Photos(OnFarm):
    needs = {"list": Need.READ}
    newest_first = ("-taken_at", "-id")

    @extend_schema(responses=PhotoSerializer(many=True), parameters=[PhotoQuery])
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The photos of the farm's rounds, newest first, without their pictures."""
        asked = renamed(self.query(PhotoQuery), ASKED)
        return self.page(photos_of(self.farm).filter(**asked), PhotoSerializer)


class PictureOfPhoto(OnFarm):
    needs = {"retrieve": Need.READ}
    content_negotiation_class = ByAddress

    @extend_schema(responses={(200, "image/jpeg"): OpenApiTypes.BINARY})
    def retrieve(self, request: Request, farm_id: UUID, photo_id: UUID) -> HttpResponse:
        """The picture as JPEG, at most 2,000 pixels a side. It was made anew on arrival and holds no metadata."""
        self.query(Body)
        picture = picture_of(one_of(photos_of(self.farm), photo_id))
        if picture is None:
            raise PhotoErased()
        headers = {"Content-Disposition": "inline", "X-Content-Type-Options": "nosniff"}
        return HttpResponse(picture, content_type="image/jpeg", headers=headers)
