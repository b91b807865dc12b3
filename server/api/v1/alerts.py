"""Open matters of a farm, and their history."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.models.alert import ClosedBecause, EventKind, Rule
from alerts.selectors import alert_history, alerts_of
from alerts.services import mark_seen
from farms.access import Need, one_of
from farms.clock import monday_of
from farms.models.chain import ActorKind
from monitoring.methods import METHOD_CHOICES
from server.api.fields import Body, Choice, Day, Flag
from server.api.views import OnFarm, renamed


class AlertSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    facility_id = serializers.UUIDField(allow_null=True, help_text="Null where it is about the whole farm.")
    method = serializers.CharField(help_text="Empty where it is about no method.")
    rule = serializers.ChoiceField(Rule.choices)
    episode = serializers.IntegerField(help_text="1 for the first time, 2 for the second, and so on.")
    opened_week = serializers.DateField(help_text="The Monday of the ISO week.")
    opened_at = serializers.DateTimeField()
    closed_week = serializers.DateField(allow_null=True)
    closed_at = serializers.DateTimeField(allow_null=True)
    closed_because = serializers.ChoiceField([("", ""), *ClosedBecause.choices])


class AlertEventSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    kind = serializers.ChoiceField(EventKind.choices)
    week = serializers.DateField()
    at = serializers.DateTimeField()
    evidence = serializers.DictField(help_text="The figures that it went by.")
    actor_kind = serializers.ChoiceField(ActorKind.choices)


class AlertWithEventsSerializer(AlertSerializer):
    events = AlertEventSerializer(many=True)


class AlertQuery(Body):
    open = Flag(required=False, help_text="true: open ones only; false: closed ones only.")
    rule = Choice(Rule.choices, required=False)
    method = Choice(METHOD_CHOICES, required=False)
    since = Day(required=False, help_text="Opened in the week of this day or later.")


class Alerts(OnFarm):
    needs = {"list": Need.READ, "retrieve": Need.READ, "seen": Need.RECORD}
    lookup_url_kwarg = "alert_id"
    newest_first = ("-opened_at", "-id")

    @extend_schema(responses=AlertSerializer(many=True), parameters=[AlertQuery])
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The farm's alerts, newest first."""
        asked = self.query(AlertQuery)
        names = {"open": "closed_at__isnull", "rule": "rule", "method": "method", "since": "opened_week__gte"}
        if "since" in asked:
            asked["since"] = monday_of(asked["since"])
        return self.page(alerts_of(self.farm).filter(**renamed(asked, names)), AlertSerializer)

    @extend_schema(responses=AlertWithEventsSerializer)
    def retrieve(self, request: Request, farm_id: UUID, alert_id: UUID) -> Response:
        """One alert, and what happened to it, oldest first."""
        alert = one_of(alerts_of(self.farm), alert_id)
        answer: dict[str, Any] = dict(AlertSerializer(alert).data)
        answer["events"] = AlertEventSerializer(alert_history(alert), many=True).data
        return self.told(answer)

    @extend_schema(request=None, responses=AlertEventSerializer)
    @action(detail=True, methods=["post"])
    def seen(self, request: Request, farm_id: UUID, alert_id: UUID) -> Response:
        """Note that you have looked at an open alert; twice in a row is once."""
        event = mark_seen(alert=one_of(alerts_of(self.farm), alert_id), actor=self.actor, now=self.now)
        return Response(AlertEventSerializer(event).data)
