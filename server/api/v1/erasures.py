"""What is to be erased: a farm, somebody who counts there, one's own account. Asked and taken back; done elsewhere."""

from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, one_of
from farms.erasures import erasures_of, waiting_account_erasure
from farms.errors import Missing
from farms.selectors import people_of
from farms.services import (
    ask_account_erasure,
    ask_farm_erasure,
    ask_person_erasure,
    take_account_erasure_back,
    take_erasure_back,
)
from server.api.fields import Body, Id, Text, YesNo
from server.api.pagination import OnePage
from server.api.people_only import OnFarmForPeople
from server.api.views import ApiViewSet

FARM = OpenApiExample("The whole farm (invented)", {"farm_name": "Hollow Creek"}, request_only=True)
PERSON = OpenApiExample(
    "Somebody who counts", {"person_id": "0197d0c2-5c00-7000-8000-0000000000a1", "words": False}, request_only=True
)
ACCOUNT = OpenApiExample("With what was typed", {"words": True}, request_only=True)
WORDS = "Also what they noted: its hash stays, so that the farm's chain holds."


class AccountErasureSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    words = serializers.BooleanField(help_text=WORDS)
    asked_at = serializers.DateTimeField()
    due_at = serializers.DateTimeField(help_text="From then on it is done; until then it can be taken back.")
    taken_back_at = serializers.DateTimeField(allow_null=True)
    done_at = serializers.DateTimeField(allow_null=True)


class ErasureSerializer(AccountErasureSerializer):
    person_id = serializers.UUIDField(allow_null=True, help_text="Somebody who counts here; null: the whole farm.")
    asked_by_id = serializers.UUIDField()


class NewErasure(Body):
    farm_name = Text(max_length=120, help_text="The farm's name as it stands here, so that nothing goes by a slip.")


class NewPersonErasure(Body):
    person_id = Id()
    words = YesNo(required=False, default=False, help_text=WORDS)


class NewAccountErasure(Body):
    words = YesNo(required=False, default=False, help_text=WORDS)


class Erasures(OnFarmForPeople):
    needs = {"list": Need.OWN, "create": Need.OWN, "people": Need.OWN, "taken_back": Need.OWN}
    pagination_class = OnePage
    lookup_url_kwarg = "erasure_request_id"

    @extend_schema(responses=ErasureSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """What was asked to be erased here, newest first; for owners."""
        return self.page(erasures_of(self.farm), ErasureSerializer)

    @extend_schema(request=NewErasure, responses={201: ErasureSerializer}, examples=[FARM])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Ask for the whole farm to be erased; for owners. It is done from `due_at` on, and can't be undone then.

        Here nobody is told by mail: tell the other owners and the adviser, or ask for it on the farm's page.
        """
        typed = self.body(NewErasure)["farm_name"]
        asked = ask_farm_erasure(farm=self.farm, typed_name=typed, by=self.user, now=self.now)
        return Response(ErasureSerializer(asked).data, status=201)

    @extend_schema(request=NewPersonErasure, responses={201: ErasureSerializer}, examples=[PERSON])
    @action(detail=False, methods=["post"])
    def people(self, request: Request, farm_id: UUID) -> Response:
        """Ask for the name and initials of somebody who counts here to be erased; for owners. The counts stay."""
        body = self.body(NewPersonErasure)
        person = one_of(people_of(self.farm).select_related("farm"), body["person_id"])
        asked = ask_person_erasure(person=person, words=body["words"], by=self.user, now=self.now)
        return Response(ErasureSerializer(asked).data, status=201)

    @extend_schema(request=None, responses=ErasureSerializer)
    @action(detail=True, methods=["post"], url_path="taken-back")
    def taken_back(self, request: Request, farm_id: UUID, erasure_request_id: UUID) -> Response:
        """Keep it, until it is done; for owners."""
        asked = one_of(erasures_of(self.farm), erasure_request_id)
        return Response(ErasureSerializer(take_erasure_back(asked=asked, by=self.user, now=self.now)).data)


class OwnErasure(ApiViewSet):
    @extend_schema(responses={200: AccountErasureSerializer, 404: None})
    def retrieve(self, request: Request) -> Response:
        """The wish that your account be erased, where one waits; 404 where none does."""
        waiting = waiting_account_erasure(self.user)
        if waiting is None:
            raise Missing()
        return self.told(AccountErasureSerializer(waiting).data)

    @extend_schema(request=NewAccountErasure, responses={201: AccountErasureSerializer}, examples=[ACCOUNT])
    def create(self, request: Request) -> Response:
        """Ask for your own account to be erased; not for keys. It is done from `due_at` on."""
        asked = ask_account_erasure(user=self.user, words=self.body(NewAccountErasure)["words"], now=self.now)
        return Response(AccountErasureSerializer(asked).data, status=201)

    @extend_schema(request=None, responses={204: None, 409: None})
    def destroy(self, request: Request) -> Response:
        """Keep your account, until it is erased; 409 where nothing waits any more."""
        take_account_erasure_back(user=self.user, now=self.now)
        return Response(status=204)
