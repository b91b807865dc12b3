"""What was done against flies, other than pesticides: those need their full record."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, one_of
from farms.clock import local_date
from farms.models.chain import ActorKind
from monitoring.models.work import WorkKind
from monitoring.selectors import works_on_record
from monitoring.selectors.work_effects import effects_of_works
from monitoring.services import WorkDone, record_work, take_back_work
from server.api.fields import Body, Choice, Day, Id, Text, Whole, YesNo
from server.api.v1.effects import NO_EFFECT, EffectSerializer
from server.api.v1.facilities import facility_named
from server.api.v1.planned_for import planned_for_in
from server.api.views import OnFarm

EXAMPLE = OpenApiExample(
    "A clean-out (invented)", {"kind": "clean_out", "done_on": "2026-06-18", "thorough": True}, request_only=True
)
MISTAKE = OpenApiExample("Tapped by mistake (invented)", {"why": "tapped the wrong barn"}, request_only=True)


class WorkFactsSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    kind = serializers.ChoiceField(WorkKind.choices)
    done_on = serializers.DateField()
    facility_id = serializers.UUIDField(allow_null=True, help_text="Null for the whole farm.")
    thorough = serializers.BooleanField(allow_null=True, help_text="Null where nobody said.")
    not_reached = serializers.CharField(allow_null=True, help_text="Of a clean-out, what could not be reached.")
    species = serializers.CharField(allow_null=True, help_text="Of wasps.")
    number = serializers.IntegerField(allow_null=True, help_text="Of wasps.")
    batch = serializers.CharField(allow_null=True, help_text="Of wasps: the supplier's.")
    planned_id = serializers.UUIDField(allow_null=True, help_text="The plan that it is of.")
    planned_for = serializers.DateField(allow_null=True, help_text="The day of the plan that it stands for.")
    taken_back = serializers.BooleanField(help_text="Noted by mistake: it stays on record and counts nowhere.")
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    recorded_at = serializers.DateTimeField()


class WorkSerializer(WorkFactsSerializer, EffectSerializer):
    """A work, and what became of the counts after it as it can be told today."""


class NewWork(Body):
    kind = Choice(WorkKind.choices)
    done_on = Day()
    facility_id = Id(default=None, allow_null=True, help_text="Null for the whole farm.")
    thorough = YesNo(default=None, allow_null=True)
    not_reached = Text(default="", allow_blank=True, max_length=200, help_text="Of a clean-out only.")
    species = Text(default="", allow_blank=True, max_length=100, help_text="Of wasps only.")
    number = Whole(default=None, allow_null=True, min_value=1, help_text="Of wasps only.")
    batch = Text(default="", allow_blank=True, max_length=60, help_text="Of wasps only: the supplier's.")
    planned_id = Id(default=None, allow_null=True, help_text="A plan of the same kind and place that it is of.")
    planned_for = Day(default=None, allow_null=True, help_text="Needed with planned_id: the day it stands for.")


class NotedByMistake(Body):
    why = Text(max_length=200, help_text="A few words; they stay on record.")


class WorkQuery(Body):
    since = Day(required=False, help_text="Done on this day or later.")


class Works(OnFarm):
    needs = {"list": Need.READ, "create": Need.RECORD, "taken_back": Need.RECORD}
    lookup_url_kwarg = "work_id"
    newest_first = ("-done_on", "-id")

    @extend_schema(responses=WorkSerializer(many=True), parameters=[WorkQuery])
    def list(self, request: Request, farm_id: UUID) -> Response:
        """What was done, newest first; what was taken back is among it, and marked."""
        since = self.query(WorkQuery).get("since")
        works = works_on_record(self.farm)
        found = self.paginate_queryset(works.filter(done_on__gte=since) if since else works)
        return self.page_of(self.with_effects(found or []), WorkSerializer)

    @extend_schema(request=NewWork, responses={201: WorkSerializer, 404: None}, examples=[EXAMPLE])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Note something that was done; with `planned_id` and `planned_for`, that a planned day is done.

        A planned day is done once: whoever is second gets 409 `planned_day_done`.
        """
        body = self.body(NewWork)
        facility, stands_for = facility_named(self.farm, body.pop("facility_id")), planned_for_in(self.farm, body)
        done = WorkDone(facility=facility, stands_for=stands_for, **body)
        work = record_work(farm=self.farm, work=done, actor=self.actor, now=self.now)
        return self._answer(work.id)

    @extend_schema(request=NotedByMistake, responses={201: WorkSerializer}, examples=[MISTAKE])
    @action(detail=True, methods=["post"], url_path="taken-back")
    def taken_back(self, request: Request, farm_id: UUID, work_id: UUID) -> Response:
        """Take back what was noted by mistake. It stays on record, and counts nowhere."""
        work = one_of(works_on_record(self.farm), work_id)
        take_back_work(work=work, why=self.body(NotedByMistake)["why"], actor=self.actor, now=self.now)
        return self._answer(work.id)

    def _answer(self, work_id: UUID) -> Response:
        work = works_on_record(self.farm).get(id=work_id)
        return Response(WorkSerializer(self.with_effects([work])[0]).data, status=201)

    def with_effects(self, works: Sequence[Any]) -> Sequence[Any]:
        """The works, each with its effect; what was taken back has none."""
        standing = [work for work in works if not work.taken_back]
        effects = effects_of_works(standing, [self.farm], local_date(self.now, self.farm.time_zone))
        for work in works:
            work.told = effects.get(work.id, NO_EFFECT)
        return works
