"""Complaints: for the farm's owners and its advisers; no key, nobody who only counts."""

from collections.abc import Iterable, Sequence
from typing import Any
from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, one_of
from farms.models.chain import ActorKind
from monitoring.models import Complaint
from monitoring.models.complaint import Came, SaidBy
from monitoring.rules.complaint import LONGEST
from monitoring.selectors import answers_of, complaints_of, words_of_answers, words_of_complaints
from monitoring.services import AnswerTyped, ComplaintTyped, Why, answer_complaint, record_complaint
from server.api.fields import Body, Choice, Day, Id, Text
from server.api.people_only import OnFarmForPeople

HEARD = OpenApiExample(
    "A neighbor's call (invented)",
    {
        "heard_on": "2026-05-30", "came": "call", "said_by": "neighbour", "said": "Flies on the porch since Thursday",
        "place": "half a mile east",
    },
    request_only=True,
)  # fmt: skip
ANSWERED = OpenApiExample(
    "What was answered (invented)",
    {"answered_on": "2026-06-01", "went": "visit", "answered": "Showed the cards, and when the barn was cleaned"},
    request_only=True,
)
ERASED = "Empty where it was erased, too."


class ComplaintAnswerSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    complaint_id = serializers.UUIDField()
    answered_on = serializers.DateField()
    went = serializers.ChoiceField(Came.choices, help_text="How it went out.")
    replaces_id = serializers.UUIDField(allow_null=True)
    replaced = serializers.BooleanField(default=False, help_text="Whether a later one replaced it.")
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    recorded_at = serializers.DateTimeField()
    entry = serializers.IntegerField()


class AnswerWithWordsSerializer(ComplaintAnswerSerializer):
    answered = serializers.CharField(source="words.answered", default="", help_text=ERASED)
    by = serializers.CharField(source="words.by", default="", help_text=ERASED)
    reason = serializers.CharField(source="words.reason", default="", help_text=ERASED)


class ComplaintSerializer(serializers.Serializer):
    id = serializers.UUIDField(source="known", help_text="It stays, however often the complaint is corrected.")
    heard_on = serializers.DateField()
    came = serializers.ChoiceField(Came.choices, help_text="How it came.")
    said_by = serializers.ChoiceField(SaidBy.choices)
    corrected = serializers.SerializerMethodField(help_text="Whether it replaced an earlier version.")
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    recorded_at = serializers.DateTimeField()
    entry = serializers.IntegerField(help_text="The entry of the farm's chain with which it was stored.")

    def get_corrected(self, row: Any) -> bool:
        return row.replaces_id is not None


class ComplaintWithWordsSerializer(ComplaintSerializer):
    said = serializers.CharField(source="words.said", default="", help_text=ERASED)
    sender = serializers.CharField(source="words.sender", default="", help_text=ERASED)
    place = serializers.CharField(source="words.place", default="", help_text=f"From where. {ERASED}")
    reason = serializers.CharField(source="words.reason", default="", help_text=ERASED)
    answers = AnswerWithWordsSerializer(
        source="answers_told", many=True, help_text="All, replaced ones too, oldest first."
    )


class NewComplaint(Body):
    heard_on = Day()
    came = Choice(Came.choices)
    said_by = Choice(SaidBy.choices)
    said = Text(max_length=LONGEST["said"])
    sender = Text(default="", allow_blank=True, max_length=LONGEST["sender"])
    place = Text(
        default="", allow_blank=True, max_length=LONGEST["place"], help_text="Direction and distance in words."
    )
    replaces_id = Id(default=None, allow_null=True, help_text="A complaint that was noted wrongly: both stay.")
    reason = Text(default="", allow_blank=True, max_length=LONGEST["reason"], help_text="Needed with replaces_id.")


class NewComplaintAnswer(Body):
    answered_on = Day()
    went = Choice(Came.choices)
    answered = Text(max_length=LONGEST["answered"])
    by = Text(default="", allow_blank=True, max_length=LONGEST["by"])
    replaces_id = Id(default=None, allow_null=True, help_text="An answer that was noted wrongly: both stay.")
    reason = Text(default="", allow_blank=True, max_length=LONGEST["reason"], help_text="Needed with replaces_id.")


class Complaints(OnFarmForPeople):
    needs = {"list": Need.MANAGE, "retrieve": Need.MANAGE, "create": Need.MANAGE, "answers": Need.MANAGE}
    lookup_url_kwarg = "complaint_id"
    newest_first = ("-heard_on", "-id")

    @extend_schema(responses=ComplaintWithWordsSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """What neighbors and inspectors said, newest first, and what was answered. It never leaves with an export."""
        if not self.query_was_read:
            self.query(Body)
        found = self.paginate_queryset(complaints_of(self.farm)) or []
        return self.page_of(self._with_words(found), ComplaintWithWordsSerializer)

    @extend_schema(responses=ComplaintWithWordsSerializer)
    def retrieve(self, request: Request, farm_id: UUID, complaint_id: UUID) -> Response:
        found = self._with_words([self._complaint(complaint_id)])
        return self.told(ComplaintWithWordsSerializer(found[0]).data)

    @extend_schema(request=NewComplaint, responses={201: ComplaintSerializer, 404: None}, examples=[HEARD])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Note a complaint, or one anew with the reason. The words sent with it are left out of this answer."""
        body = self.body(NewComplaint)
        replaces_id, reason = body.pop("replaces_id"), body.pop("reason")
        mending = Why(self._complaint(replaces_id), reason) if replaces_id else None
        typed = ComplaintTyped(**body)
        made = record_complaint(farm=self.farm, typed=typed, actor=self.actor, now=self.now, mending=mending)
        return Response(ComplaintSerializer(complaints_of(self.farm).get(id=made.id)).data, status=201)

    @extend_schema(
        request=NewComplaintAnswer, responses={201: ComplaintAnswerSerializer, 404: None}, examples=[ANSWERED]
    )
    @action(detail=True, methods=["post"])
    def answers(self, request: Request, farm_id: UUID, complaint_id: UUID) -> Response:
        """Note what was answered, or an answer anew with the reason. The words are left out of this answer."""
        complaint, body = self._complaint(complaint_id), self.body(NewComplaintAnswer)
        replaces_id, reason = body.pop("replaces_id"), body.pop("reason")
        own = answers_of(self.farm).filter(complaint_id=complaint.known_as)
        mending = Why(one_of(own, replaces_id), reason) if replaces_id else None
        made = answer_complaint(
            complaint=complaint, typed=AnswerTyped(**body), actor=self.actor, now=self.now, mending=mending
        )  # fmt: skip
        return Response(ComplaintAnswerSerializer(made).data, status=201)

    def _complaint(self, complaint_id: UUID) -> Complaint:
        rows = complaints_of(self.farm)
        return one_of(rows, rows.filter(known=complaint_id).values_list("id", flat=True).first() or complaint_id)

    def _with_words(self, found: Iterable[Any]) -> Sequence[Any]:
        """Each complaint with what was said, and its answers with theirs."""
        rows = list(found)
        words = words_of_complaints(self.farm, [row.id for row in rows])
        answers = list(answers_of(self.farm).filter(complaint_id__in=[row.known for row in rows]))
        answered = words_of_answers(self.farm, [row.id for row in answers])
        for answer in answers:
            answer.words = answered.get(answer.id, {})  # type: ignore[attr-defined]
        for row in rows:
            row.words = words.get(row.id, {})
            row.answers_told = [each for each in answers if each.complaint_id == row.known]
        return rows
