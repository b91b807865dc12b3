"""What was done against flies, other than pesticides: those need their full record."""

from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need
from farms.models.chain import ActorKind
from monitoring.models.work import WorkKind
from monitoring.selectors import works_of
from monitoring.services import WorkDone, record_work
from server.api.fields import Body, Choice, Day, Id, YesNo
from server.api.v1.facilities import facility_named
from server.api.views import OnFarm

EXAMPLE = OpenApiExample(
    "A clean-out (invented)", {"kind": "clean_out", "done_on": "2026-06-18", "thorough": True}, request_only=True
)


class WorkSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    kind = serializers.ChoiceField(WorkKind.choices)
    done_on = serializers.DateField()
    facility_id = serializers.UUIDField(allow_null=True, help_text="Null for the whole farm.")
    thorough = serializers.BooleanField(allow_null=True, help_text="Null where nobody said.")
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    recorded_at = serializers.DateTimeField()


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
        return self.page(works_of(self.farm, **self.query(WorkQuery)), WorkSerializer)

    @extend_schema(request=NewWork, responses={201: WorkSerializer}, examples=[EXAMPLE])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Note something that was done."""
        body = self.body(NewWork)
        done = WorkDone(facility=facility_named(self.farm, body.pop("facility_id")), **body)
        work = record_work(farm=self.farm, work=done, actor=self.actor, now=self.now)
        return Response(WorkSerializer(work).data, status=201)
