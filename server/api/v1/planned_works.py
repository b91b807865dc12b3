"""Planned work: once or again and again, with what became of each day."""

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
from farms.lookups import array_of
from farms.models.chain import ActorKind
from monitoring.models import PlannedWork
from monitoring.models.planned_work import PLAN_KINDS, StepKind, Unit
from monitoring.models.product import ProductKind
from monitoring.selectors import planned_steps_of, planned_works_of, plans_of_rows, product_rows_of, words_about
from monitoring.selectors.planned_work import STATES
from monitoring.services import WorkPlanned, end_plan, leave_out, plan_work
from server.api.fields import Body, Choice, Day, Id, Text, Whole, YesNo
from server.api.v1.facilities import facility_named
from server.api.views import OnFarm

WEEKLY = OpenApiExample(
    "A clean-out every two weeks (invented)",
    {"kind": "clean_out", "first_day": "2026-06-18", "every": 2, "unit": "week", "last_day": "2026-09-30",
     "words": "behind the hutches, too"},
    request_only=True,
)  # fmt: skip
LEFT_OUT = OpenApiExample("Rain (invented)", {"day": "2026-07-02", "why": "too wet to drive in"}, request_only=True)
STATES_TOLD = (
    "due: today; overdue: the newest day that came, not noted yet, for eight weeks; not_noted: it came, nobody noted "
    "it, and a later one has come since."
)
APPLICATION_TOLD = "application: done by recording the application, with its full record; not by noting work."


class PlannedDaySerializer(serializers.Serializer):
    day = serializers.DateField()
    state = serializers.ChoiceField(STATES, help_text=STATES_TOLD)
    work_id = serializers.UUIDField(source="work.id", default=None, allow_null=True, help_text="Where it is done.")
    application_id = serializers.UUIDField(
        source="application.id", default=None, allow_null=True, help_text="Where an application is on record for it."
    )


class PlannedStepSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    kind = serializers.ChoiceField(StepKind.choices)
    day = serializers.DateField(help_text="The day left out, or that from which on the plan is ended.")
    why = serializers.CharField(allow_null=True, help_text="Null where the words were erased.")
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    recorded_at = serializers.DateTimeField()


class PlannedWorkSerializer(serializers.Serializer):
    """A plan, its steps and its days; the work itself stands among the farm's works."""

    id = serializers.UUIDField()
    kind = serializers.ChoiceField(PLAN_KINDS, help_text=APPLICATION_TOLD)
    facility_id = serializers.UUIDField(allow_null=True, help_text="Null for the whole farm.")
    first_day = serializers.DateField()
    every = serializers.IntegerField(allow_null=True, help_text="Null where it is done once.")
    unit = serializers.ChoiceField(Unit.choices, allow_blank=True)
    last_day = serializers.DateField(allow_null=True)
    words = serializers.CharField(allow_null=True, help_text="What to do; null where none were given or were erased.")
    species = serializers.CharField(allow_blank=True, help_text="Of wasps.")
    number = serializers.IntegerField(allow_null=True, help_text="Of wasps, each time.")
    use_kind = serializers.ChoiceField(ProductKind.choices, allow_blank=True, help_text="Of an application.")
    product_id = serializers.UUIDField(allow_null=True, help_text="Of the group's list.")
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    recorded_at = serializers.DateTimeField()
    entry = serializers.IntegerField(help_text="The entry of the farm's chain with which it was stored.")
    days = PlannedDaySerializer(many=True, help_text="In order, at most 200.")
    steps = PlannedStepSerializer(source="told_steps", many=True)


class NewPlannedWork(Body):
    kind = Choice(PLAN_KINDS, help_text=APPLICATION_TOLD)
    facility_id = Id(default=None, allow_null=True, help_text="Null for the whole farm.")
    first_day = Day(help_text="Today or later, at most 400 days ahead.")
    every = Whole(default=None, allow_null=True, min_value=1, help_text="Every so many units; null for once.")
    unit = Choice(Unit.choices, default="", allow_blank=True)
    last_day = Day(
        default=None,
        allow_null=True,
        help_text="Needed with every: at most 400 days after the first, and 200 times. By the month from the 29th on, "
        "a month that is shorter has its last day.",
    )
    words = Text(default="", allow_blank=True, max_length=200, help_text="What to do.")
    species = Text(default="", allow_blank=True, max_length=100, help_text="Of wasps only.")
    number = Whole(default=None, allow_null=True, min_value=1, help_text="Of wasps only, each time.")
    use_kind = Choice(
        ProductKind.choices, default="", allow_blank=True, help_text="Of an application without product_id."
    )
    product_id = Id(default=None, allow_null=True, help_text="Of an application: one of the group's list.")
    thought_of = YesNo(default=False, help_text="Of an application: what asked_first names was thought of.")


class NewPlannedStep(Body):
    day = Day()
    why = Text(max_length=200, help_text="A few words; they stay on record.")


class PlannedWorks(OnFarm):
    needs = {"list": Need.READ, "create": Need.RECORD, "left_out": Need.RECORD, "end": Need.RECORD}
    lookup_url_kwarg = "planned_work_id"
    newest_first = ("-recorded_at", "-id")

    @extend_schema(responses=PlannedWorkSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """All that was ever planned on the farm, newest first, with what became of each day."""
        found = self.paginate_queryset(planned_works_of(self.farm)) or []
        return self.page_of(self._told(found), PlannedWorkSerializer)

    @extend_schema(request=NewPlannedWork, responses={201: PlannedWorkSerializer, 404: None}, examples=[WEEKLY])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Plan work, once or again and again. That a day is done is noted by POST works, or POST applications.

        A spray where parasitic wasps were released, or of a group that was used before, is asked about first
        (asked_first); on a farm kept organic it waits for the certifier's answer. Nothing is recommended.
        """
        body = self.body(NewPlannedWork)
        product_id = body.pop("product_id")
        body["product"] = one_of(product_rows_of(self.farm.group), product_id) if product_id else None
        plan = WorkPlanned(facility=facility_named(self.farm, body.pop("facility_id")), **body)
        return self._answer(plan_work(farm=self.farm, plan=plan, actor=self.actor, now=self.now).id)

    @extend_schema(request=NewPlannedStep, responses={201: PlannedWorkSerializer}, examples=[LEFT_OUT])
    @action(detail=True, methods=["post"], url_path="left-out")
    def left_out(self, request: Request, farm_id: UUID, planned_work_id: UUID) -> Response:
        """Leave one day of a plan out, and say why. If the work is done after all, that holds."""
        step = {**self.body(NewPlannedStep), "planned": self._plan(planned_work_id)}
        return self._answer(leave_out(**step, actor=self.actor, now=self.now).planned_id)

    @extend_schema(request=NewPlannedStep, responses={201: PlannedWorkSerializer}, examples=[LEFT_OUT])
    @action(detail=True, methods=["post"])
    def end(self, request: Request, farm_id: UUID, planned_work_id: UUID) -> Response:
        """End a plan: from this day on nothing of it is to be done."""
        step = {**self.body(NewPlannedStep), "planned": self._plan(planned_work_id)}
        return self._answer(end_plan(**step, actor=self.actor, now=self.now).planned_id)

    def _plan(self, planned_work_id: UUID) -> PlannedWork:
        return one_of(planned_works_of(self.farm), planned_work_id)

    def _answer(self, planned_id: UUID) -> Response:
        told = self._told([self._plan(planned_id)])
        return Response(PlannedWorkSerializer(told[0]).data, status=201)

    def _told(self, rows: Sequence[Any]) -> Sequence[Any]:
        """The plans, each with its steps and days as seen today."""
        today = local_date(self.now, self.farm.time_zone)
        steps: dict[UUID, list[Any]] = {row.id: [] for row in rows}
        found = list(planned_steps_of(self.farm).filter(planned_id__any_of=array_of(steps)))
        words = words_about(self.farm, [step.id for step in found])
        for step in found:
            step.why = words.get(step.id)
            steps[step.planned_id].append(step)
        for row, plan in zip(rows, plans_of_rows(rows), strict=True):
            row.days, row.told_steps = plan.told(today), steps[row.id]
        return rows
