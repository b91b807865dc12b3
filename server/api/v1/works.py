"""What was done against flies, other than pesticides: those need their full record."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need
from farms.clock import local_date
from farms.models.chain import ActorKind
from monitoring.methods import METHOD_CHOICES
from monitoring.models.work import WorkKind
from monitoring.selectors import works_of
from monitoring.selectors.work_effects import REASONS, effects_of_works
from monitoring.services import WorkDone, record_work
from server.api.fields import Body, Choice, Day, Id, YesNo
from server.api.v1.facilities import facility_named
from server.api.views import OnFarm

EXAMPLE = OpenApiExample(
    "A clean-out (invented)", {"kind": "clean_out", "done_on": "2026-06-18", "thorough": True}, request_only=True
)


PER_CENT = "In per cent, negative for fewer: -50 is half of what was to be expected. Null where nothing can be told."


class WorkSerializer(serializers.Serializer):
    """A work, and what became of the counts after it as it can be told today."""

    id = serializers.UUIDField()
    kind = serializers.ChoiceField(WorkKind.choices)
    done_on = serializers.DateField()
    facility_id = serializers.UUIDField(allow_null=True, help_text="Null for the whole farm.")
    thorough = serializers.BooleanField(allow_null=True, help_text="Null where nobody said.")
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    recorded_at = serializers.DateTimeField()
    effect = serializers.FloatField(source="told.change", allow_null=True, help_text=PER_CENT)
    low = serializers.FloatField(source="told.change_low", allow_null=True, help_text="Of its 95 % interval.")
    high = serializers.FloatField(source="told.change_high", allow_null=True, help_text="Of its 95 % interval.")
    method = serializers.ChoiceField(METHOD_CHOICES, source="told.method", allow_null=True, help_text="Whose counts.")
    compared_with = serializers.ListField(
        source="told.compared_with",
        child=serializers.UUIDField(),
        help_text="The farm's facilities where nothing was done meanwhile; empty where there is no comparison.",
    )
    reason = serializers.ChoiceField(
        [reason for reason in REASONS if reason],
        source="told.reason",
        allow_blank=True,
        help_text="Empty, or why there is no effect. With no_comparison it is after against before alone: weather may "
        "have done it.",
    )
    weather = serializers.ChoiceField(
        ["hot", "cold"],
        source="told.weather",
        allow_blank=True,
        help_text="What keeps counts low by itself in the weeks after the work: a fall is not told as the work's then.",
    )


class NewWork(Body):
    kind = Choice(WorkKind.choices)
    done_on = Day()
    facility_id = Id(default=None, allow_null=True, help_text="Null for the whole farm.")
    thorough = YesNo(default=None, allow_null=True)


class WorkQuery(Body):
    since = Day(required=False, help_text="Done on this day or later.")


class Works(OnFarm):
    needs = {"list": Need.READ, "create": Need.RECORD}
    newest_first = ("-done_on", "-id")

    @extend_schema(responses=WorkSerializer(many=True), parameters=[WorkQuery])
    def list(self, request: Request, farm_id: UUID) -> Response:
        """What was done, newest first."""
        found = self.paginate_queryset(works_of(self.farm, **self.query(WorkQuery)))
        return self.page_of(self.with_effects(found or []), WorkSerializer)

    @extend_schema(request=NewWork, responses={201: WorkSerializer}, examples=[EXAMPLE])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Note something that was done."""
        body = self.body(NewWork)
        done = WorkDone(facility=facility_named(self.farm, body.pop("facility_id")), **body)
        work = record_work(farm=self.farm, work=done, actor=self.actor, now=self.now)
        return Response(WorkSerializer(self.with_effects([work])[0]).data, status=201)

    def with_effects(self, works: Sequence[Any]) -> Sequence[Any]:
        """The works, each with its effect."""
        effects = effects_of_works(works, [self.farm], local_date(self.now, self.farm.time_zone))
        for work in works:
            work.told = effects[work.id]
        return works
