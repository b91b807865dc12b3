"""Kept out: the re-entry times that were typed from labels."""

from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, one_of
from farms.models.chain import ActorKind
from monitoring.selectors import reentries_of, standing_of
from monitoring.services import Mending, ReentryTyped, record_reentry
from server.api.fields import Body, Id, Moment, Text
from server.api.v1.facilities import facility_named
from server.api.views import OnFarm

EXAMPLE = OpenApiExample(
    "Until the next morning (invented)",
    {"begins_at": "2026-06-01T08:00:00Z", "until": "2026-06-02T12:00:00Z", "label_says": "until sprays have dried"},
    request_only=True,
)


class ReentrySerializer(serializers.Serializer):
    """A time typed from a label. It tells what was typed, and no more: the label is the law, ask before going in."""

    id = serializers.UUIDField()
    facility_id = serializers.UUIDField(allow_null=True, help_text="Null for the whole farm.")
    begins_at = serializers.DateTimeField()
    until = serializers.DateTimeField()
    label_says = serializers.CharField()
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    recorded_at = serializers.DateTimeField()
    replaces_id = serializers.UUIDField(allow_null=True, help_text="The one that was typed wrongly.")
    reason = serializers.CharField(allow_blank=True, help_text="Why it was changed.")
    replaced = serializers.BooleanField(help_text="Whether a later one replaced it.")
    entry = serializers.IntegerField(help_text="The entry of the farm's chain with which it was stored.")


class NewReentry(Body):
    facility_id = Id(default=None, allow_null=True, help_text="Null for the whole farm.")
    begins_at = Moment()
    until = Moment(help_text="At most 60 days after it begins.")
    label_says = Text(max_length=200, help_text="What the label says about going in again; no product is needed.")
    replaces_id = Id(default=None, allow_null=True, help_text="One that was typed wrongly: both stay on record.")
    reason = Text(default="", allow_blank=True, max_length=200, help_text="Needed with replaces_id.")


class ReentryQuery(Body):
    at = Moment(required=False, help_text="Those that run at this moment, without those that were replaced.")


class Reentries(OnFarm):
    needs = {"list": Need.READ, "create": Need.RECORD}
    newest_first = ("-recorded_at", "-id")

    @extend_schema(responses=ReentrySerializer(many=True), parameters=[ReentryQuery])
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The re-entry times typed from labels, newest first; with `at` those that run at that moment.

        An empty list tells that nothing was typed, and nothing about a building: ask whoever applied.
        """
        at = self.query(ReentryQuery).get("at")
        rows = standing_of(self.farm).filter(begins_at__lte=at, until__gt=at) if at else reentries_of(self.farm)
        return self.page(rows, ReentrySerializer)

    @extend_schema(request=NewReentry, responses={201: ReentrySerializer}, examples=[EXAMPLE])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Keep people out of a building, or of the whole farm, as the label says."""
        body = self.body(NewReentry)
        replaces_id, reason = body.pop("replaces_id"), body.pop("reason")
        typed = ReentryTyped(facility=facility_named(self.farm, body.pop("facility_id")), **body)
        mending = Mending(one_of(reentries_of(self.farm), replaces_id), reason) if replaces_id else None
        made = record_reentry(farm=self.farm, typed=typed, actor=self.actor, now=self.now, mending=mending)
        return Response(ReentrySerializer(reentries_of(self.farm).get(id=made.id)).data, status=201)
