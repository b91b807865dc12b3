"""How long a group keeps each kind of record: what holds, what was set before, and what every farm is told of it."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, group_for
from farms.models.access import GroupRole
from farms.models.retention import KeptKind
from farms.retention import KEPT, LONGEST, chosen_in, months_kept
from farms.services import set_retention
from server.api.fields import Body, Whole
from server.api.pagination import OnePage
from server.api.views import ApiViewSet, OnFarm

EXAMPLE = OpenApiExample(
    "Pictures for a year, notes for as long as the farm is here (invented)",
    {"photos": 12, "notes": None},
    request_only=True,
)
WITHOUT_END = "Null: for as long as the farm is here."


class SetTimeSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    kind = serializers.ChoiceField(KeptKind.choices)
    months = serializers.IntegerField(allow_null=True, help_text=WITHOUT_END)
    set_by_id = serializers.UUIDField()
    set_at = serializers.DateTimeField()


class KeptTimeSerializer(serializers.Serializer):
    kind = serializers.ChoiceField(KeptKind.choices)
    months = serializers.IntegerField(allow_null=True, help_text=f"How long it is kept now. {WITHOUT_END}")
    usual = serializers.IntegerField(help_text="The months where nobody chose.")
    least = serializers.IntegerField(help_text="The fewest months that a group may choose.")
    most = serializers.IntegerField(help_text="The most.")


class NewTimes(Body):
    """The months of each kind that is named; what isn't named stays as it is."""

    def get_fields(self) -> dict[str, Any]:
        return {
            str(kind): Whole(
                required=False,
                allow_null=True,
                help_text=f"Months, {kept.least} to {LONGEST}, for {kind.label}. {WITHOUT_END}",
            )
            for kind, kept in KEPT.items()
        }


class RetentionOfGroup(ApiViewSet):
    pagination_class = OnePage

    @extend_schema(responses=SetTimeSerializer(many=True))
    def list(self, request: Request, group_id: UUID) -> Response:
        """Every time that the group's coordinators set, newest first; for the people of the group and its farms."""
        return self.page(chosen_in(group_for(self.who, group_id)), SetTimeSerializer)

    @extend_schema(request=NewTimes, responses={201: SetTimeSerializer(many=True)}, examples=[EXAMPLE])
    def create(self, request: Request, group_id: UUID) -> Response:
        """Set how long some kinds are kept, for every farm of the group from now on; for its coordinators.

        It holds for what is there already, too, and what is erased can't be brought back. Answers with what is
        otherwise than before: what changes nothing is not written.
        """
        group = group_for(self.who, group_id, role=GroupRole.COORDINATOR)
        months = {KeptKind(kind): number for kind, number in self.body(NewTimes).items()}
        answer = self.page(set_retention(group=group, months=months, by=self.user, now=self.now), SetTimeSerializer)
        answer.status_code = 201
        return answer

    @extend_schema(responses=KeptTimeSerializer(many=True))
    @action(detail=False)
    def applied(self, request: Request, group_id: UUID) -> Response:
        """How long each kind is kept now, with what a group may choose."""
        return self.page(kept_times(group_for(self.who, group_id).id), KeptTimeSerializer)


class RetentionOfFarm(OnFarm):
    needs = {"list": Need.READ}
    pagination_class = OnePage

    @extend_schema(responses=KeptTimeSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """How long each kind of this farm's records is kept, as its group set it."""
        return self.page(kept_times(self.farm.group_id), KeptTimeSerializer)


def kept_times(group_id: UUID) -> list[dict[str, Any]]:
    return [
        {"kind": kind, "months": months, **vars(KEPT[kind]), "most": LONGEST}
        for kind, months in months_kept(group_id).items()
    ]
