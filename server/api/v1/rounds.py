"""Rounds: sent as often as you like, stored once."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.models.assessment import LevelWord
from alerts.selectors import levels_of
from farms.access import Need, one_of
from farms.models import ApiToken
from farms.models.chain import ActorKind
from monitoring.methods import METHOD_CHOICES
from monitoring.models import Round
from monitoring.models.round import Source
from monitoring.selectors import readings_of_round, round_result, rounds_of
from monitoring.services import HungSent, NoteSent, ReadingSent, RoundSent, record_round, skip_round
from server.api.fields import Body, Choice, Day, Id, Moment, Text
from server.api.problems import pointing
from server.api.v1.readings import ReadingBody, ReadingSerializer
from server.api.views import OnFarm, renamed

ROUND = OpenApiExample(
    "Two cards, one lost, and a fresh one (invented)",
    {
        "walked_on": "2026-06-01",
        "readings": [
            {
                "id": "0197d0c2-5c00-7000-8000-000000000003",
                "station_id": "0197d0c2-5c00-7000-8000-000000000001",
                "hung_on": "2026-05-25",
                "count": 41,
            },
            {
                "id": "0197d0c2-5c00-7000-8000-000000000004",
                "station_id": "0197d0c2-5c00-7000-8000-000000000002",
                "reason": "lost",
            },
        ],
        "hung": [
            {
                "id": "0197d0c2-5c00-7000-8000-000000000005",
                "station_id": "0197d0c2-5c00-7000-8000-000000000002",
                "hung_on": "2026-06-01",
            }
        ],
    },
    request_only=True,
)
SKIP = OpenApiExample(
    "Harvest (invented)", {"skipped_on": "2026-06-08", "next_round_on": "2026-06-15"}, request_only=True
)
MOST_READINGS = 2000
NAMES = {"/counted_by": "/counted_by_id", "/typed_by": "/typed_by_id"}


class RoundSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    walked_on = serializers.DateField()
    source = serializers.ChoiceField(Source.choices)
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    counted_by_id = serializers.UUIDField(source="counted_by", allow_null=True)
    typed_by_id = serializers.UUIDField(source="typed_by", allow_null=True)
    typed_on = serializers.DateField(allow_null=True)
    observed_at = serializers.DateTimeField(allow_null=True)
    submitted_at = serializers.DateTimeField(allow_null=True)
    received_at = serializers.DateTimeField(help_text="By the service's clock, when it first came.")
    clock_ahead = serializers.IntegerField(
        allow_null=True,
        help_text="Seconds by which the sender's clock was ahead then; null where `sent_at` wasn't given.",
    )


class PlaceToLookSerializer(serializers.Serializer):
    station_id = serializers.UUIDField(source="station.id")
    share = serializers.FloatField(help_text="Of the facility's total, 0 to 1.")
    question = serializers.CharField(help_text="A code: what to ask on the spot.")


class FacilityResultSerializer(serializers.Serializer):
    facility_id = serializers.UUIDField(source="facility.id")
    method = serializers.ChoiceField(METHOD_CHOICES, source="method.code")
    mean = serializers.FloatField(allow_null=True, help_text="In the method's unit; null where nothing was counted.")
    at_least = serializers.BooleanField(help_text="A lower bound: somewhere there were too many to count.")
    devices = serializers.IntegerField(help_text="Cards, traps or leg counts that were counted.")
    missing = serializers.IntegerField(help_text="Those without a count. Missing is not zero.")
    level = serializers.FloatField(allow_null=True, help_text="The action level that applies.")
    word = serializers.ChoiceField(LevelWord.choices)
    place = PlaceToLookSerializer(allow_null=True, help_text="Where to look first, if one station stands out.")


class WholeRoundSerializer(RoundSerializer):
    readings = ReadingSerializer(many=True, help_text="In walking order; corrected ones and their corrections too.")
    result = FacilityResultSerializer(many=True)


class HungBody(Body):
    id = Id()
    station_id = Id()
    hung_on = Day()


class NoteBody(Body):
    id = Id()
    text = Text(max_length=2000)
    reading_id = Id(default=None, allow_null=True, help_text="The reading that it is about; null for the round.")


class RoundBody(Body):
    walked_on = Day(help_text="The day in the farm's time zone.")
    readings = ReadingBody.listed(MOST_READINGS, default=list)
    hung = HungBody.listed(MOST_READINGS, default=list, help_text="Fresh cards and traps.")
    notes = NoteBody.listed(100, default=list)
    counted_by_id = Id(default=None, allow_null=True, help_text="Who counted, of the farm's people.")
    typed_by_id = Id(default=None, allow_null=True, help_text="Who typed it from paper.")
    typed_on = Day(default=None, allow_null=True)
    observed_at = Moment(default=None, allow_null=True, help_text="When it was walked, by the sender's clock.")
    submitted_at = Moment(default=None, allow_null=True, help_text="When it was finished, by the sender's clock.")
    sent_at = Moment(
        default=None,
        allow_null=True,
        help_text="When this request left, by the sender's clock: how far that is from ours is noted, not trusted.",
    )


class RoundQuery(Body):
    since = Day(required=False, help_text="Walked on this day or later.")
    until = Day(required=False, help_text="Walked on this day or earlier.")
    source = Choice(Source.choices, required=False)
    received_since = Moment(required=False, help_text="First stored at this moment or later.")


class SkipSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    skipped_on = serializers.DateField()
    next_round_on = serializers.DateField()
    made_at = serializers.DateTimeField()
    actor_kind = serializers.ChoiceField(ActorKind.choices)


class SkipBody(Body):
    skipped_on = Day(help_text="The day of the round that is left out.")
    next_round_on = Day(help_text="Nothing is overdue before this day.")


class Rounds(OnFarm):
    needs = {"list": Need.READ, "retrieve": Need.READ, "update": Need.COUNT}
    lookup_url_kwarg = "round_id"
    newest_first = ("-walked_on", "-id")

    @extend_schema(responses=RoundSerializer(many=True), parameters=[RoundQuery])
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The farm's rounds, newest first."""
        names = {"since": "walked_on__gte", "until": "walked_on__lte", "source": "source"}
        names |= {"received_since": "received_at__gte"}
        asked = renamed(self.query(RoundQuery), names)
        return self.page(rounds_of(self.farm).filter(**asked), RoundSerializer)

    @extend_schema(responses=WholeRoundSerializer)
    def retrieve(self, request: Request, farm_id: UUID, round_id: UUID) -> Response:
        """One round with its readings."""
        return self.told(self.shown(one_of(rounds_of(self.farm), round_id)))

    @extend_schema(
        request=RoundBody,
        responses={200: WholeRoundSerializer, 201: WholeRoundSerializer},
        examples=[ROUND],
    )
    def update(self, request: Request, farm_id: UUID, round_id: UUID) -> Response:
        """Send a round, or what is new of it.

        You make the ids (UUID version 7 is best), so a round that was sent five times is stored once. Readings that
        aren't known yet are added, those that are known and say the same are left as they are; one that says something
        else is refused, and so is all of the round with it: send a correction instead.
        """
        sent = _round(round_id, self.body(RoundBody), self.source)
        with pointing(NAMES):
            stored = record_round(farm=self.farm, sent=sent, actor=self.actor, now=self.now)
        return self.told(self.shown(stored), status=201 if stored.is_new else 200)

    @property
    def source(self) -> str:
        """How rounds of whoever asks come in, unless they are typed from paper."""
        if not isinstance(self.who, ApiToken):
            return Source.FORM.value
        return Source.PHONE.value if self.role.actor_kind == ActorKind.PHONE else Source.PROGRAM.value

    def shown(self, stored: Round) -> dict[str, Any]:
        """The round with its readings, and what each facility's come to."""
        levels = levels_of(self.farm, stored.walked_on)
        readings = list(readings_of_round(self.farm, stored.id))
        result = round_result(self.farm, readings, lambda method, facility_id: levels.of(method, facility_id).value)
        return {
            **RoundSerializer(stored).data,
            "readings": ReadingSerializer(readings, many=True).data,
            "result": FacilityResultSerializer(result, many=True).data,
        }


class Skips(OnFarm):
    needs = {"create": Need.RECORD}

    @extend_schema(request=SkipBody, responses={201: SkipSerializer}, examples=[SKIP])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Skip a round ahead (holiday, harvest): cards stay up, and nothing is overdue before the day named."""
        skip = skip_round(farm=self.farm, **self.body(SkipBody), actor=self.actor, now=self.now)
        return Response(SkipSerializer(skip).data, status=201)


def _round(round_id: UUID, body: dict[str, Any], source: str) -> RoundSent:
    typed = body.pop("typed_by_id")
    from_paper = typed is not None or body["typed_on"] is not None
    return RoundSent(
        id=round_id,
        source=Source.PAPER.value if from_paper else source,
        readings=[ReadingSent(**each) for each in body.pop("readings")],
        hung=[HungSent(**each) for each in body.pop("hung")],
        notes=[NoteSent(**each) for each in body.pop("notes")],
        counted_by=body.pop("counted_by_id"),
        typed_by=typed,
        **body,
    )
