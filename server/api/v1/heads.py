"""Signed days: the newest one that covers a farm, and the public keys, which anybody may read."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need
from farms.errors import Missing
from farms.models import SigningKey
from server.api.pagination import OnePage
from server.api.views import ApiViewSet, OnFarm
from server.evidence.farm import head_as_told, newest_head_of
from server.evidence.keys import public_pem


class HeadSerializer(serializers.Serializer):
    document = serializers.DictField(help_text="The signed head: docs/evidence.md has its form.")
    number = serializers.IntegerField(help_text="So many entries of the farm's chain are covered.")
    place = serializers.IntegerField(help_text="The farm's place among the leaves, from 0.")
    salt = serializers.CharField(help_text="The salt of its leaf, in hexadecimal.")
    path = serializers.ListField(child=serializers.CharField(), help_text="The hashes on the way to the root.")
    stamp = serializers.CharField(allow_null=True, help_text="A time stamp (RFC 3161), in base64; null without one.")


class SigningKeySerializer(serializers.Serializer):
    id = serializers.CharField(help_text="SHA-256 of the 32 bytes of the key, in hexadecimal: as heads name it.")
    pem = serializers.CharField(help_text="The public key, Ed25519, in PEM.")
    first_used_on = serializers.DateField()


class HeadOfFarm(OnFarm):
    needs = {"retrieve": Need.MANAGE}

    @extend_schema(responses=HeadSerializer)
    def retrieve(self, request: Request, farm_id: UUID) -> Response:
        """The newest signed day that covers this farm, with the farm's way to its root.

        For the farm's owners and its advisers. 404 where no day was signed yet.
        """
        covering = newest_head_of(self.farm)
        if covering is None:
            raise Missing()
        return self.told(HeadSerializer(head_as_told(covering)).data)


class SigningKeys(ApiViewSet):
    # What is to be believed is compared with it by people who have no account here.
    authentication_classes = ()
    permission_classes = ()
    pagination_class = OnePage

    @extend_schema(responses=SigningKeySerializer(many=True), auth=[])
    def list(self, request: Request) -> Response:
        """The public keys that ever signed a day, the newest first. Anybody may read them."""
        keys = SigningKey.objects.order_by("-first_used_on", "id")
        rows: list[dict[str, Any]] = [
            {"id": key.id, "pem": public_pem(bytes(key.public)), "first_used_on": key.first_used_on} for key in keys
        ]
        return self.page(rows, SigningKeySerializer)
