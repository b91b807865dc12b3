"""Who would follow an adviser who left the farm, and the owner's answer; what the one who left had promised."""

from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, one_of
from farms.models.offer import OfferAnswer
from farms.models.promise import PromiseKind
from farms.offers import offers_of, promises_of
from farms.services import answer_offer, take_promise_over
from server.api.fields import Body, Choice
from server.api.pagination import OnePage
from server.api.people_only import OnFarmForPeople

NO = OpenApiExample("No", {"answer": "no"}, request_only=True)
YES = OpenApiExample("Yes, from now on", {"answer": "yes"}, request_only=True)
GIVEN = [OfferAnswer.YES, OfferAnswer.NO]


class AdviserOfferSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    left_id = serializers.UUIDField(help_text="The adviser who left.")
    left_at = serializers.DateTimeField()
    successor_id = serializers.UUIDField(allow_null=True, help_text="Null: nobody is named yet.")
    offered_at = serializers.DateTimeField()
    begins_on = serializers.DateField(allow_null=True)
    begins_by_itself = serializers.BooleanField(
        read_only=True,
        help_text="Whether an owner agreed to whoever follows: then it begins on that day, unless you say no.",
    )
    answer = serializers.ChoiceField(OfferAnswer.choices)
    answered_by_id = serializers.UUIDField(allow_null=True)
    answered_at = serializers.DateTimeField(allow_null=True)
    ended_at = serializers.DateTimeField(allow_null=True, help_text="When somebody else was named.")


class NewAnswer(Body):
    answer = Choice([(each.value, each.label) for each in GIVEN])


class PromiseSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    kind = serializers.ChoiceField(PromiseKind.choices)
    day = serializers.DateField()
    left_id = serializers.UUIDField(help_text="Who had promised it.")
    taken_by_id = serializers.UUIDField(allow_null=True)
    taken_at = serializers.DateTimeField(allow_null=True)


class AdviserOffers(OnFarmForPeople):
    needs = {"list": Need.READ, "answer": Need.OWN}
    pagination_class = OnePage
    lookup_url_kwarg = "adviser_offer_id"

    @extend_schema(responses=AdviserOfferSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """Who was named to follow an adviser who left, newest first; for the farm's people, not for keys."""
        return self.page(offers_of(self.farm), AdviserOfferSerializer)

    @extend_schema(request=NewAnswer, responses=AdviserOfferSerializer, examples=[NO, YES])
    @action(detail=True, methods=["post"])
    def answer(self, request: Request, farm_id: UUID, adviser_offer_id: UUID) -> Response:
        """Say yes, which lets the next adviser see the farm from now on, or no; for owners."""
        offer = one_of(offers_of(self.farm), adviser_offer_id)
        answered = answer_offer(offer=offer, answer=self.body(NewAnswer)["answer"], by=self.user, now=self.now)
        return Response(AdviserOfferSerializer(answered).data)


class Promises(OnFarmForPeople):
    needs = {"list": Need.READ, "taken": Need.MANAGE}
    pagination_class = OnePage
    lookup_url_kwarg = "open_promise_id"

    @extend_schema(responses=PromiseSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """What an adviser who left had promised and nobody has taken over yet, by day; not for keys."""
        return self.page(promises_of(self.farm), PromiseSerializer)

    @extend_schema(request=None, responses=PromiseSerializer)
    @action(detail=True, methods=["post"])
    def taken(self, request: Request, farm_id: UUID, open_promise_id: UUID) -> Response:
        """Take it over; for the farm's advisers. A visit or call that lies ahead is planned for you."""
        promise = one_of(promises_of(self.farm), open_promise_id)
        return Response(PromiseSerializer(take_promise_over(promise=promise, by=self.user, now=self.now)).data)
