"""A farm kept organic, and what its certifier answered."""

from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need
from farms.models.chain import ActorKind
from monitoring.models.application import CertifierSaid
from monitoring.selectors import certifier_answers_of, organic_marks_of
from monitoring.services import CertifierTyped, mark_organic, note_certifier_answer
from server.api.fields import Body, Choice, Day, Text, YesNo
from server.api.pagination import OnePage
from server.api.views import OnFarm

MARK = OpenApiExample("Organic from a day on", {"is_organic": True, "from_on": "2026-01-01"}, request_only=True)
ANSWER = OpenApiExample(
    "Allowed on conditions (invented)",
    {
        "product_name": "Invented Wall Spray", "registration_number": "00000-1", "asked_on": "2026-05-01",
        "answered_on": "2026-05-09", "said": "on_conditions", "words": "calf barn only",
    },
    request_only=True,
)  # fmt: skip


class OrganicMarkSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    is_organic = serializers.BooleanField()
    from_on = serializers.DateField()
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    recorded_at = serializers.DateTimeField()
    entry = serializers.IntegerField()


class NewOrganicMark(Body):
    is_organic = YesNo()
    from_on = Day(help_text="At most a year ahead.")


class CertifierAnswerSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    product_name = serializers.CharField()
    registration_number = serializers.CharField()
    asked_on = serializers.DateField()
    answered_on = serializers.DateField()
    said = serializers.ChoiceField(CertifierSaid.choices)
    words = serializers.CharField(allow_blank=True)
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    recorded_at = serializers.DateTimeField()
    entry = serializers.IntegerField()


class NewCertifierAnswer(Body):
    product_name = Text(max_length=120)
    registration_number = Text(max_length=40)
    asked_on = Day()
    answered_on = Day()
    said = Choice(CertifierSaid.choices)
    words = Text(default="", allow_blank=True, max_length=300)


class OrganicMarks(OnFarm):
    needs = {"list": Need.READ, "create": Need.MANAGE}
    pagination_class = OnePage

    @extend_schema(responses=OrganicMarkSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """From when on the farm is kept organic, or is so no more; the latest day first."""
        return self.page(organic_marks_of(self.farm), OrganicMarkSerializer)

    @extend_schema(request=NewOrganicMark, responses={201: OrganicMarkSerializer}, examples=[MARK])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Mark the farm as organic from a day on, or no more."""
        body = self.body(NewOrganicMark)
        made = mark_organic(farm=self.farm, **body, actor=self.actor, now=self.now)
        return Response(OrganicMarkSerializer(made).data, status=201)


class CertifierAnswers(OnFarm):
    needs = {"list": Need.READ, "create": Need.MANAGE}
    pagination_class = OnePage

    @extend_schema(responses=CertifierAnswerSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """What the organic certifier was asked about a product, and answered; newest first."""
        return self.page(certifier_answers_of(self.farm), CertifierAnswerSerializer)

    @extend_schema(request=NewCertifierAnswer, responses={201: CertifierAnswerSerializer}, examples=[ANSWER])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Keep an answer of the certifier; the newest about a product holds."""
        typed = CertifierTyped(**self.body(NewCertifierAnswer))
        made = note_certifier_answer(farm=self.farm, typed=typed, actor=self.actor, now=self.now)
        return Response(CertifierAnswerSerializer(made).data, status=201)
