"""Readings, and their corrections: what is stored is never overwritten."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.selectors.leg_verdicts import LegVerdicts
from farms.access import Need, record_of
from farms.selectors import chain_number
from monitoring.analysis.leg_verdict import COUNT_ON, ENOUGH_BELOW, ENOUGH_OVER, NONE, NOT_CLEAR
from monitoring.analysis.rates import LEGS_PER_ANIMAL
from monitoring.methods import METHOD_CHOICES
from monitoring.models import Reading
from monitoring.models.reading import CorrectionKind, How, NoCount, ReadingQuerySet
from monitoring.selectors import arrivals_of
from monitoring.services import ReadingSent, correct_reading
from server.api.fields import Body, Choice, Day, Flag, Id, Part, Several, Text, TimeOfDay, Whole, WholeText, YesNo
from server.api.views import OnFarm, renamed

EXAMPLE = OpenApiExample(
    "Counted wrongly (invented)",
    {"id": "0197d0c2-5c00-7000-8000-000000000009", "kind": "miscounted", "count": 61},
    request_only=True,
)
MOST_ANIMALS = 500
VERDICTS = [ENOUGH_BELOW, ENOUGH_OVER, COUNT_ON, NOT_CLEAR, NONE]


class ReadingSerializer(serializers.Serializer):
    verdicts: LegVerdicts | None = None

    id = serializers.UUIDField()
    round_id = serializers.UUIDField()
    station_id = serializers.UUIDField()
    placement_id = serializers.UUIDField(allow_null=True, help_text="The card or trap that was read.")
    method = serializers.ChoiceField(METHOD_CHOICES)
    how = serializers.ChoiceField(How.choices)
    count = serializers.IntegerField(allow_null=True, help_text="What was counted; null where there is no count.")
    fraction = serializers.FloatField(help_text="The part that was counted; 1 for all of it.")
    at_least = serializers.BooleanField(help_text="Too many to count: there were at least so many.")
    reason = serializers.ChoiceField([("", ""), *NoCount.choices], help_text="Why there is no count.")
    hung_on = serializers.DateField(allow_null=True)
    taken_on = serializers.DateField(help_text="Taken down, or counted, on this day in the farm's time zone.")
    zone = serializers.CharField()
    sides = serializers.IntegerField()
    animals = serializers.ListField(child=serializers.IntegerField(), allow_null=True, help_text="Flies an animal.")
    pen = serializers.CharField()
    time_of_day = serializers.TimeField(allow_null=True)
    weather = serializers.CharField()
    bunching = serializers.BooleanField(allow_null=True)
    sprayed = serializers.BooleanField(allow_null=True)
    mean_per_leg = serializers.SerializerMethodField(help_text="Flies a leg, four legs an animal; of leg counts.")
    verdict = serializers.SerializerMethodField(
        help_text="Of leg counts: whether these animals were enough to say on which side of the action level of their "
        "day they are. count_on: fewer than ten, or not yet; not_clear: not after 15 either; none: no level is set."
    )
    corrects_id = serializers.UUIDField(allow_null=True)
    correction_kind = serializers.ChoiceField([("", ""), *CorrectionKind.choices])
    received_at = serializers.DateTimeField()
    entry = serializers.IntegerField(help_text="The entry of the farm's chain with which it was stored.")

    @extend_schema_field(serializers.FloatField(allow_null=True))
    def get_mean_per_leg(self, reading: Reading) -> float | None:
        return sum(reading.animals) / len(reading.animals) / LEGS_PER_ANIMAL if reading.animals else None

    @extend_schema_field(serializers.ChoiceField(VERDICTS, allow_null=True))
    def get_verdict(self, reading: Reading) -> str | None:
        if not reading.animals:
            return None
        # Kept for the readings that follow: they are of one farm.
        self.verdicts = self.verdicts or LegVerdicts(reading.farm)
        found = self.verdicts.of(reading)
        return found.word if found else None


class ReadingBody(Body):
    """What was found at one station. How the values fit together is judged by monitoring.rules, for every way in."""

    id = Id(help_text="Made by you (UUID version 7 is best); sent again, the reading is stored once.")
    station_id = Id()
    how = Choice(How.choices, default=How.COUNTED.value)
    count = Whole(default=None, allow_null=True, min_value=None, max_value=None)
    fraction = Part(default=1, help_text="Of a card, where only a part was counted.")
    at_least = YesNo(default=False, help_text="Too many to count: at least so many.")
    reason = Choice([("", ""), *NoCount.choices], default="", allow_blank=True, help_text="Why there is no count.")
    placement_id = Id(default=None, allow_null=True, help_text="Needed where two hang at the station.")
    hung_on = Day(default=None, allow_null=True, help_text="Needed where the hanging wasn't sent before.")
    taken_on = Day(default=None, allow_null=True, help_text="The round's day unless said otherwise.")
    sides = Whole(default=None, allow_null=True, help_text="As the group counts unless said otherwise.")
    animals = Several(
        child=Whole(min_value=None, max_value=None), default=None, allow_null=True, max_length=MOST_ANIMALS
    )
    pen = Text(default="", allow_blank=True, max_length=60)
    time_of_day = TimeOfDay(default=None, allow_null=True)
    weather = Text(default="", allow_blank=True, max_length=60)
    bunching = YesNo(default=None, allow_null=True)
    sprayed = YesNo(default=None, allow_null=True, help_text="Whether animals were sprayed or poured that week.")


class CorrectionBody(ReadingBody):
    kind = Choice(CorrectionKind.choices, help_text="withdrawn: nothing takes the reading's place.")
    station_id = Id(required=False, help_text="The same station unless said otherwise.")


class ReadingQuery(Body):
    method = Choice(METHOD_CHOICES, required=False)
    station_id = Id(required=False)
    since = Day(required=False, help_text="Taken down, or counted, on this day or later.")
    until = Day(required=False, help_text="Taken down, or counted, on this day or earlier.")
    facility_id = Id(required=False)
    round_id = Id(required=False)
    counted = Flag(required=False, help_text="true: with a count only; false: only those without one.")
    after_entry = WholeText(
        required=False, max_value=10**18, help_text="Stored after this entry of the farm's chain: what is new since."
    )
    order = Choice(
        ["newest", "arrival"],
        default="newest",
        help_text="newest: those that stand, newest first. arrival: everything in the order in which it was stored, "
        "corrections and what they correct too.",
    )


# The column, and how, that each part of the query is about.
ASKED = {
    "method": "method",
    "station_id": "station_id",
    "facility_id": "station__facility_id",
    "round_id": "round_id",
    "since": "taken_on__gte",
    "until": "taken_on__lte",
    "counted": "count__isnull",
    "after_entry": "entry__gt",
}


class Readings(OnFarm):
    needs = {"list": Need.READ, "retrieve": Need.READ, "corrections": Need.RECORD}
    lookup_url_kwarg = "reading_id"
    newest_first: tuple[str, ...] = ("-taken_on", "-id")

    @extend_schema(responses=ReadingSerializer(many=True), parameters=[ReadingQuery])
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The readings that stand, newest first: without those that a later one corrects.

        All pages show them as they stood at the first one, whatever comes in meanwhile. To keep a copy up to date, read
        them in the order of arrival, and go on after the `entry` of the last one.
        """
        asked = self.query(ReadingQuery)
        if asked.pop("order") == "arrival":
            # Nothing is taken away in this order: no state needs to be kept.
            self.newest_first, self.state = ("entry", "id"), None  # type: ignore[method-assign]
        if "counted" in asked:
            asked["counted"] = not asked["counted"]
        return self.page(arrivals_of(self.farm).filter(**renamed(asked, ASKED)), ReadingSerializer)

    def state(self) -> int:
        """As of which entry of the chain the list is read."""
        return chain_number(self.farm)

    def as_of(self, readings: ReadingQuerySet, state: int) -> ReadingQuerySet:
        return readings.current(as_of=state)

    @extend_schema(responses=ReadingSerializer)
    def retrieve(self, request: Request, farm_id: UUID, reading_id: UUID) -> Response:
        """One reading, also one that was corrected."""
        return self.told(ReadingSerializer(record_of(self.farm, Reading, reading_id)).data)

    @extend_schema(request=CorrectionBody, responses={201: ReadingSerializer}, examples=[EXAMPLE])
    @action(detail=True, methods=["post"])
    def corrections(self, request: Request, farm_id: UUID, reading_id: UUID) -> Response:
        """Correct a reading: a new one takes its place, with the reason; the first stays on record."""
        corrected = record_of(self.farm, Reading, reading_id)
        body: dict[str, Any] = {"station_id": corrected.station_id, **self.body(CorrectionBody)}
        kind = body.pop("kind")
        reading = correct_reading(
            farm=self.farm, reading_id=corrected.id, correction=ReadingSent(**body), kind=kind, actor=self.actor,
            now=self.now,
        )  # fmt: skip
        return Response(ReadingSerializer(reading).data, status=201)
