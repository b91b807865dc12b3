"""Where a farm keeps its dated cards."""

from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need
from farms.models.chain import ActorKind
from monitoring.selectors import cards_kept_of
from monitoring.services import note_cards_kept
from server.api.fields import Body, Day, Text
from server.api.pagination import OnePage
from server.api.people_only import OnFarmForPeople

KEPT = OpenApiExample(
    "In the office (invented)",
    {"words": "a dry box in the office, a bundle a season", "from_on": "2026-04-06"},
    request_only=True,
)


class CardsKeptSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    words = serializers.CharField()
    from_on = serializers.DateField()
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    recorded_at = serializers.DateTimeField()
    entry = serializers.IntegerField()


class NewCardsKept(Body):
    words = Text(max_length=300)
    from_on = Day(help_text="At most a year ahead.")


class CardsKeptRecords(OnFarmForPeople):
    needs = {"list": Need.READ, "create": Need.MANAGE}
    pagination_class = OnePage

    @extend_schema(responses=CardsKeptSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """Where the dated cards are kept, and from when; the latest day first. For people, not for keys."""
        return self.page(cards_kept_of(self.farm), CardsKeptSerializer)

    @extend_schema(request=NewCardsKept, responses={201: CardsKeptSerializer}, examples=[KEPT])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Note where they are kept from a day on; earlier places stay on record."""
        made = note_cards_kept(farm=self.farm, **self.body(NewCardsKept), actor=self.actor, now=self.now)
        return Response(CardsKeptSerializer(made).data, status=201)
