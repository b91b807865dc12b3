"""The farm phone: a one-time code, shown on screen or paper, becomes a key that may send rounds and nothing else."""

from datetime import timedelta
from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import Throttled
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need
from farms.selectors import token_by_key
from farms.services import PhoneCodeWrong, make_phone_code, use_phone_code
from server.api.fields import Body, Text
from server.api.views import ApiViewSet, OnFarm
from server.web.limits import WINDOW, phone_code_tried_too_often, phone_code_was_right
from server.web.phone import LASTS

EXAMPLE = OpenApiExample("A code from paper", {"code": "2063 5518", "name": "Feed room phone"}, request_only=True)


class PhoneCodeSerializer(serializers.Serializer):
    code = serializers.CharField(help_text="Eight digits; shown here and never again.")
    expires_at = serializers.DateTimeField()


class PhoneKeySerializer(serializers.Serializer):
    key = serializers.CharField(help_text="Send it as `Authorization: Bearer ...`. Shown here and never again.")
    farm_id = serializers.UUIDField()
    expires_at = serializers.DateTimeField()


class PhoneCodeTyped(Body):
    code = Text(max_length=20)
    name = Text(max_length=120, help_text="Tells the owner which phone this is.")


class PhoneCodes(OnFarm):
    tells_secret = True
    needs = {"create": Need.MANAGE}

    @extend_schema(request=None, responses={201: PhoneCodeSerializer})
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Make a one-time code for a farm phone.

        It lasts 15 minutes. Whoever types it gets a key with which rounds can be sent to this farm.
        """
        row, code = make_phone_code(farm=self.farm, by=self.user, now=timezone.now())
        return Response(PhoneCodeSerializer({"code": code, "expires_at": row.expires_at}).data, status=201)


class Phone(ApiViewSet):
    # The code is the key: whoever asks here is nobody yet.
    authentication_classes = ()
    permission_classes = ()

    @extend_schema(request=PhoneCodeTyped, responses={201: PhoneKeySerializer}, examples=[EXAMPLE], auth=[])
    def create(self, request: Request) -> Response:
        """Turn a one-time code into a farm phone's key."""
        if phone_code_tried_too_often(request):
            raise Throttled(wait=WINDOW)
        now = timezone.now()
        key = use_phone_code(**self.body(PhoneCodeTyped), expires_at=now + timedelta(seconds=LASTS), now=now)
        phone_code_was_right()
        phone = token_by_key(key, now)
        if phone is None:
            raise PhoneCodeWrong(pointer="/code")
        answer = {"key": key, "farm_id": phone.farm_id, "expires_at": phone.expires_at}
        return Response(PhoneKeySerializer(answer).data, status=201)
