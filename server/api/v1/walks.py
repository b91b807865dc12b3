"""Fly walks, what was found at each place, and what became of it."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import OpenApiExample, OpenApiTypes, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.selectors import alerts_of
from farms.access import Need, one_of
from farms.errors import Detail
from farms.models import User
from farms.models.chain import ActorKind
from farms.selectors import facilities_of
from monitoring.errors import FindingRefused
from monitoring.models import Finding
from monitoring.models.walk import Amount, FindingState, Material, Moisture, Place, StepKind
from monitoring.rules.walk import ELSEWHERE, LONGEST, FindingSent, Said
from monitoring.selectors import (
    finding_photos_of,
    finding_picture_of,
    findings_of,
    stations_of,
    steps_of,
    versions_of,
    walks_of,
    words_of_findings,
    words_of_steps,
)
from monitoring.selectors.walk import OPEN
from monitoring.services import (
    FindingMended,
    StepMended,
    StepSent,
    WalkSent,
    correct_finding,
    record_step,
    record_walk,
)
from server.api.fields import Body, Choice, Day, Flag, Id, Number, Text, YesNo
from server.api.v1.exports import ByAddress
from server.api.v1.photos import PhotoErased
from server.api.views import OnFarm, renamed

ID = "0197d0c2-5c00-7000-8000-00000000000"
FOUND = {"id": f"{ID}2", "place": "waterers", "moisture": "wet", "larvae": "some", "to_do": "Mend the float"}
WALKED = OpenApiExample(
    "Two places (invented)",
    {
        "id": f"{ID}1", "walked_on": "2026-06-01",
        "findings": [FOUND | {"due_on": "2026-06-03"}, {"id": f"{ID}3", "place": "gutters", "nothing": True}],
    },
    request_only=True,
)  # fmt: skip
DONE = OpenApiExample("Done (invented)", {"kind": "done", "on": "2026-06-01"}, request_only=True)
MENDED = OpenApiExample(
    "The other side (invented)", {"place": "feed_bunks", "larvae": "many", "reason": "noted at the wrong place"},
    request_only=True,
)  # fmt: skip
PEOPLE = "For the farm's people and its advisers; null for keys, and where the words were erased or none were said."
ON_PLAN = "On the farm's plan, from 0 (left, top) to 1; null where it isn't on it."
SAID = ("place_words", "to_do", "by_whom", "note")
# The column, and how, that each part of the query is about.
ASKED = {"walk_id": "walk_id", "state": "state", "since": "seen_on__gte", "facility_id": "facility_id"}


class WalkSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    walked_on = serializers.DateField()
    facility_id = serializers.UUIDField(allow_null=True, help_text="For which it was begun; null: all over the farm.")
    station_id = serializers.UUIDField(allow_null=True, help_text="The card, trap or leg count that led there.")
    alert_id = serializers.UUIDField(allow_null=True, help_text="The open matter that led there.")
    places = serializers.IntegerField(help_text="Places looked at, those without a find too.")
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    recorded_at = serializers.DateTimeField()
    entry = serializers.IntegerField(help_text="The entry of the farm's chain with which it was stored.")


class SaidSerializer(serializers.Serializer):
    place_words = serializers.CharField(default="")
    to_do = serializers.CharField(default="")
    by_whom = serializers.CharField(default="")
    note = serializers.CharField(default="")


class FoundSerializer(serializers.Serializer):
    """What a version of a finding says."""

    seen_on = serializers.DateField()
    facility_id = serializers.UUIDField(allow_null=True)
    station_id = serializers.UUIDField(allow_null=True, help_text="Near which card, trap or leg count.")
    place = serializers.ChoiceField(Place.choices)
    nothing = serializers.BooleanField(help_text="Looked at, and nothing found. Missing is never that.")
    material = serializers.ChoiceField(Material.choices, allow_blank=True)
    moisture = serializers.ChoiceField(Moisture.choices, allow_blank=True)
    larvae = serializers.ChoiceField(Amount.choices, allow_blank=True, help_text="Empty where nobody said.")
    pupae = serializers.ChoiceField(Amount.choices, allow_blank=True, help_text="Empty where nobody said.")
    due_on = serializers.DateField(allow_null=True, help_text="By when it was to be done, as said on the walk.")
    x = serializers.FloatField(allow_null=True, help_text=ON_PLAN)
    y = serializers.FloatField(allow_null=True, help_text=ON_PLAN)
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    recorded_at = serializers.DateTimeField()
    entry = serializers.IntegerField(help_text="The entry of the farm's chain with which it was stored.")
    said = serializers.SerializerMethodField(help_text=PEOPLE)

    def get_said(self, row: Any) -> dict[str, str] | None:
        words = self.context.get("words", {}).get(row.id)
        return None if words is None else {name: words.get(name, "") for name in SAID}


class FindingSerializer(FoundSerializer):
    id = serializers.UUIDField(source="known", help_text="It stays, however often the finding is corrected.")
    walk_id = serializers.UUIDField()
    state = serializers.ChoiceField(FindingState.choices, help_text="By its newest step.")
    due = serializers.DateField(allow_null=True, help_text="The day of what comes next: to do, or to look again.")
    corrected = serializers.SerializerMethodField(help_text="Whether it replaced an earlier version.")

    def get_corrected(self, row: Any) -> bool:
        return row.replaces_id is not None


class FindingStepSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    number = serializers.IntegerField(help_text="Its place; one that replaces another keeps it.")
    kind = serializers.ChoiceField(StepKind.choices)
    on = serializers.DateField()
    due_on = serializers.DateField(allow_null=True, help_text="The day of what comes next.")
    replaces_id = serializers.UUIDField(allow_null=True)
    replaced = serializers.BooleanField(default=False, help_text="Whether a later one replaced it.")
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    recorded_at = serializers.DateTimeField()
    entry = serializers.IntegerField()
    note = serializers.SerializerMethodField(help_text=PEOPLE)
    reason = serializers.SerializerMethodField(help_text=PEOPLE)

    def get_note(self, row: Any) -> str | None:
        return self._word(row, "note")

    def get_reason(self, row: Any) -> str | None:
        return self._word(row, "reason")

    def _word(self, row: Any, name: str) -> str | None:
        words: Mapping[str, str] | None = self.context.get("words", {}).get(row.id)
        return None if words is None else words.get(name, "")


class VersionSerializer(FoundSerializer):
    withdrawn = serializers.BooleanField(help_text="Noted by mistake.")
    reason = serializers.SerializerMethodField(help_text=PEOPLE)

    def get_reason(self, row: Any) -> str | None:
        words: Mapping[str, str] | None = self.context.get("words", {}).get(row.id)
        return None if words is None else words.get("reason", "")


class FindingWithStepsSerializer(FindingSerializer):
    steps = FindingStepSerializer(many=True)
    versions = VersionSerializer(many=True, help_text="All of them, the first one first.")


class FindingPhotoSerializer(serializers.Serializer):
    """A photo without its picture, and without who took it."""

    id = serializers.UUIDField()
    finding_id = serializers.UUIDField()
    width = serializers.IntegerField(help_text="In pixels, as it is kept.")
    height = serializers.IntegerField()
    erased = serializers.BooleanField(help_text="Whether its picture was erased.")
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    received_at = serializers.DateTimeField()
    entry = serializers.IntegerField(help_text="The entry of the farm's chain with which it was stored.")


class Found(Body):
    place = Choice(Place.choices)
    nothing = YesNo(default=False, help_text="Looked at, and nothing found.")
    facility_id = Id(default=None, allow_null=True)
    station_id = Id(default=None, allow_null=True, help_text="Near which card, trap or leg count.")
    material = Choice(Material.choices, default="", allow_blank=True)
    moisture = Choice(Moisture.choices, default="", allow_blank=True)
    larvae = Choice(Amount.choices, default="", allow_blank=True, help_text="Leave it empty where nobody looked.")
    pupae = Choice(Amount.choices, default="", allow_blank=True, help_text="Leave it empty where nobody looked.")
    due_on = Day(default=None, allow_null=True, help_text="By when it is to be done.")
    x = Number(default=None, allow_null=True, min_value=0, max_value=1, help_text=ON_PLAN)
    y = Number(default=None, allow_null=True, min_value=0, max_value=1, help_text=ON_PLAN)
    place_words = Text(default="", allow_blank=True, max_length=LONGEST["place_words"], help_text="Of another place.")
    to_do = Text(default="", allow_blank=True, max_length=LONGEST["to_do"])
    by_whom = Text(default="", allow_blank=True, max_length=LONGEST["by_whom"])
    note = Text(default="", allow_blank=True, max_length=LONGEST["note"])


class NewFinding(Found):
    id = Id(help_text="Made by whoever sends it, so that it is stored once.")


class NewWalk(Body):
    id = Id(help_text="Made by whoever sends it, so that it is stored once.")
    walked_on = Day()
    facility_id = Id(default=None, allow_null=True, help_text="Null: all over the farm.")
    station_id = Id(default=None, allow_null=True)
    alert_id = Id(default=None, allow_null=True)
    findings = NewFinding.listed(60, help_text="A place each; those that nobody looked at stay away.")


class NewStep(Body):
    kind = Choice(StepKind.choices, help_text="withdrawn only with replaces_id.")
    on = Day()
    due_on = Day(default=None, allow_null=True, help_text="What comes next; after done usually seven days later.")
    note = Text(default="", allow_blank=True, max_length=LONGEST["note"])
    replaces_id = Id(default=None, allow_null=True, help_text="A step that was noted wrongly: both stay on record.")
    reason = Text(default="", allow_blank=True, max_length=200, help_text="Needed with replaces_id.")


class FindingCorrection(Found):
    seen_on = Day(default=None, allow_null=True, help_text="Null: as it was.")
    withdrawn = YesNo(default=False, help_text="It was noted by mistake; the rest of the body says nothing then.")
    reason = Text(max_length=200)


class FindingQuery(Body):
    walk_id = Id(required=False)
    facility_id = Id(required=False)
    state = Choice(FindingState.choices, required=False)
    since = Day(required=False, help_text="Seen on this day or later.")
    open = Flag(required=False, help_text="true: what is to be done or looked at again.")


class FindingPhotoQuery(Body):
    finding_id = Id(required=False)


class Walks(OnFarm):
    needs = {"list": Need.READ, "create": Need.RECORD}
    newest_first = ("-walked_on", "-id")

    @extend_schema(responses=WalkSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The farm's fly walks, newest first; what each found stands under findings."""
        return self.page(walks_of(self.farm), WalkSerializer)

    @extend_schema(request=NewWalk, responses={201: WalkSerializer, 404: None}, examples=[WALKED])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Note a walk with all it found, in one piece; sent again under its id it is stored once.

        Whoever walks keeps out of pens with a bull, and out of pits and silos; local rules come first.
        """
        body = self.body(NewWalk)
        named = Named(self)
        alert_id = body.pop("alert_id")
        if alert_id is not None:
            one_of(alerts_of(self.farm), alert_id)
        findings = [named.finding(each, f"/findings/{number}") for number, each in enumerate(body.pop("findings"))]
        sent = WalkSent(
            body["id"], body["walked_on"], findings, named.facility(body["facility_id"]),
            named.station(body["station_id"]), alert_id,
        )  # fmt: skip
        walk = record_walk(farm=self.farm, sent=sent, actor=self.actor, now=self.now)
        return Response(WalkSerializer(walks_of(self.farm).get(id=walk.id)).data, status=201)


class Findings(OnFarm):
    needs = {"list": Need.READ, "retrieve": Need.READ, "steps": Need.RECORD, "corrections": Need.RECORD}
    lookup_url_kwarg = "finding_id"
    newest_first = ("-seen_on", "-id")

    @extend_schema(responses=FindingSerializer(many=True), parameters=[FindingQuery])
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The findings that stand, newest first, each with how it stands now."""
        asked = self.query(FindingQuery)
        is_open, rows = asked.pop("open", None), findings_of(self.farm)
        if is_open is not None:
            rows = rows.filter(state__in=OPEN) if is_open else rows.exclude(state__in=OPEN)
        found = self.paginate_queryset(rows.filter(**renamed(asked, ASKED))) or []
        self.words = self._words(row.id for row in found)
        return self.page_of(found, FindingSerializer)

    @extend_schema(responses=FindingWithStepsSerializer)
    def retrieve(self, request: Request, farm_id: UUID, finding_id: UUID) -> Response:
        """One finding, what became of it, and what stood before it was corrected."""
        found = self._finding(finding_id)
        versions, steps = versions_of(found), steps_of(found)
        self.words = self._words(row.id for row in versions)
        answer: dict[str, Any] = dict(FindingSerializer(found, context=self.get_serializer_context()).data)
        by_step = {"words": words_of_steps(self.farm, [row.id for row in steps]) if self._is_person else {}}
        answer["steps"] = FindingStepSerializer(steps, many=True, context=by_step).data
        answer["versions"] = VersionSerializer(versions, many=True, context=self.get_serializer_context()).data
        return self.told(answer)

    @extend_schema(request=NewStep, responses={201: FindingStepSerializer, 404: None}, examples=[DONE])
    @action(detail=True, methods=["post"])
    def steps(self, request: Request, farm_id: UUID, finding_id: UUID) -> Response:
        """Note what became of it: done, looked again and gone, or still there, which opens it again.

        The words sent with it are left out of this answer.
        """
        finding, body = self._finding(finding_id), self.body(NewStep)
        replaces_id, reason = body.pop("replaces_id"), body.pop("reason")
        mending = None
        if replaces_id is not None:
            replaced = next((row for row in steps_of(finding) if row.id == replaces_id), None)
            if replaced is None:
                raise FindingRefused(errors=[Detail("/replaces_id", str(ELSEWHERE), "unknown_step")])
            mending = StepMended(replaced, reason)
        made = record_step(finding=finding, step=StepSent(**body), actor=self.actor, now=self.now, mending=mending)
        return Response(FindingStepSerializer(made).data, status=201)

    @extend_schema(request=FindingCorrection, responses={201: FindingSerializer, 404: None}, examples=[MENDED])
    @action(detail=True, methods=["post"])
    def corrections(self, request: Request, farm_id: UUID, finding_id: UUID) -> Response:
        """Note a finding anew, with the reason; what stood before stays on record.

        A withdrawn one is given back as it stood. The words sent with it are left out of this answer.
        """
        finding, body = self._finding(finding_id), self.body(FindingCorrection)
        reason, seen_on, withdrawn = body.pop("reason"), body.pop("seen_on"), body.pop("withdrawn")
        sent = None if withdrawn else Named(self).finding({"id": None, **body}, "")
        mended = FindingMended(finding, reason, sent, seen_on)
        correct_finding(farm=self.farm, mended=mended, actor=self.actor, now=self.now)
        stands = findings_of(self.farm).filter(known=finding.known_as).first()
        return Response(FindingSerializer(stands or finding).data, status=201)

    words: Mapping[UUID, Mapping[str, str]] = {}

    def get_serializer_context(self) -> dict[str, Any]:
        return {**super().get_serializer_context(), "words": self.words}

    @property
    def _is_person(self) -> bool:
        return isinstance(self.who, User)

    def _words(self, ids: Any) -> Mapping[UUID, Mapping[str, str]]:
        """What was said, for people; what a key reads goes on to programs of others."""
        return words_of_findings(self.farm, ids) if self._is_person else {}

    def _finding(self, finding_id: UUID) -> Finding:
        return known_finding(findings_of(self.farm), finding_id)


class FindingPhotos(OnFarm):
    needs = {"list": Need.READ}
    newest_first = ("-received_at", "-id")

    @extend_schema(responses=FindingPhotoSerializer(many=True), parameters=[FindingPhotoQuery])
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The photos of the farm's findings, newest first, without their pictures."""
        return self.page(finding_photos_of(self.farm).filter(**self.query(FindingPhotoQuery)), FindingPhotoSerializer)


class PictureOfFinding(OnFarm):
    needs = {"retrieve": Need.READ}
    content_negotiation_class = ByAddress

    @extend_schema(responses={(200, "image/jpeg"): OpenApiTypes.BINARY})
    def retrieve(self, request: Request, farm_id: UUID, finding_photo_id: UUID) -> HttpResponse:
        """The picture as JPEG, at most 2,000 pixels a side. It was made anew on arrival and holds no metadata."""
        self.query(Body)
        picture = finding_picture_of(one_of(finding_photos_of(self.farm), finding_photo_id))
        if picture is None:
            raise PhotoErased()
        headers = {"Content-Disposition": "inline", "X-Content-Type-Options": "nosniff"}
        return HttpResponse(picture, content_type="image/jpeg", headers=headers)


class Named:
    """The farm's barns and stations that a body names; each list read once."""

    def __init__(self, view: OnFarm) -> None:
        self.facilities = {row.id: row for row in facilities_of(view.farm)}
        self.stations = {row.id: row for row in stations_of(view.farm)}

    def facility(self, facility_id: UUID | None, at: str = "") -> Any:
        return self._one(self.facilities, facility_id, f"{at}/facility_id", "unknown_facility")

    def station(self, station_id: UUID | None, at: str = "") -> Any:
        return self._one(self.stations, station_id, f"{at}/station_id", "unknown_station")

    def finding(self, body: dict[str, Any], at: str) -> FindingSent:
        said = Said(**{name: body.pop(name) for name in SAID})
        facility, station = self.facility(body.pop("facility_id"), at), self.station(body.pop("station_id"), at)
        return FindingSent(**body, facility=facility, station=station, said=said)

    def _one(self, rows: Mapping[UUID, Any], row_id: UUID | None, pointer: str, code: str) -> Any:
        if row_id is not None and row_id not in rows:
            raise FindingRefused(errors=[Detail(pointer, str(ELSEWHERE), code)])
        return rows[row_id] if row_id is not None else None


def known_finding(rows: QuerySet[Any], finding_id: UUID) -> Finding:
    """The finding that is known by an id, as it stands. Raises Missing."""
    found: Finding = one_of(rows, rows.filter(known=finding_id).values_list("id", flat=True).first() or finding_id)
    return found
