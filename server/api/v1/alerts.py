"""Open matters of a farm, what somebody did about them, and their history."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.models.alert import ClosedBecause, EventKind, Rule
from alerts.selectors import alert_history, alerts_of, not_counted_since, notes_of, with_state, works_linked_to
from alerts.services import acknowledge, link_work, mark_seen, snooze
from farms.access import Need, one_of
from farms.clock import monday_of
from farms.models.chain import ActorKind
from monitoring.methods import METHOD_CHOICES
from monitoring.selectors import works_of
from server.api.fields import Body, Choice, Day, Flag, Id, Text
from server.api.views import OnFarm, renamed

NOTE = OpenApiExample("Somebody takes it on (invented)", {"note": "Clearing out the calf pens."}, request_only=True)
DONE = OpenApiExample(
    "Work about it (invented)", {"work_id": "0197d0c2-5c00-7000-8000-000000000001"}, request_only=True
)
LATER = OpenApiExample("Put off (invented)", {"until": "2026-06-15"}, request_only=True)


class AlertSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    facility_id = serializers.UUIDField(allow_null=True, help_text="Null where it is about the whole farm.")
    method = serializers.CharField(help_text="Empty where it is about no method.")
    rule = serializers.ChoiceField(Rule.choices)
    episode = serializers.IntegerField(help_text="1 for the first time, 2 for the second, and so on.")
    opened_week = serializers.DateField(help_text="The Monday of the ISO week.")
    opened_at = serializers.DateTimeField()
    reopened_week = serializers.DateField(
        allow_null=True, help_text="When it last came back within three weeks of its end: as the same episode."
    )
    seen_at = serializers.DateTimeField(allow_null=True, help_text="When somebody first looked at it since it opened.")
    later_until = serializers.DateField(allow_null=True, help_text="The day to which somebody put it off.")
    escalated_at = serializers.DateTimeField(
        allow_null=True, help_text="When the adviser was told that nobody had looked at it for seven days."
    )
    not_counted_since = serializers.SerializerMethodField(
        help_text="The last week with a count of what it is about, where later ones had none. It stays open."
    )
    closed_week = serializers.DateField(allow_null=True)
    closed_at = serializers.DateTimeField(allow_null=True)
    closed_because = serializers.ChoiceField([("", ""), *ClosedBecause.choices])

    @extend_schema_field(serializers.DateField(allow_null=True))
    def get_not_counted_since(self, alert: Any) -> str | None:
        week = not_counted_since(alert)
        return week.isoformat() if week else None


class AlertEventSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    kind = serializers.ChoiceField(EventKind.choices)
    week = serializers.DateField()
    at = serializers.DateTimeField()
    evidence = serializers.DictField(help_text="The figures that it went by.")
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    note = serializers.SerializerMethodField(
        help_text="What was written with it, told with the history; empty where nothing was, or where it was erased."
    )

    def get_note(self, event: Any) -> str:
        notes: dict[UUID, str] = self.context.get("notes", {})
        return notes.get(event.id, "")


class AlertWithEventsSerializer(AlertSerializer):
    work_ids = serializers.ListField(child=serializers.UUIDField(), help_text="The work that was done about it.")
    events = AlertEventSerializer(many=True)


class AlertQuery(Body):
    open = Flag(required=False, help_text="true: open ones only; false: closed ones only.")
    rule = Choice(Rule.choices, required=False)
    method = Choice(METHOD_CHOICES, required=False)
    since = Day(required=False, help_text="Opened in the week of this day or later.")


class NewNote(Body):
    note = Text(max_length=2000, required=False, default="", allow_blank=True)


class PutOff(Body):
    until = Day(help_text="From tomorrow, at most sixty days ahead: it comes back on that day.")


class WorkDoneAbout(Body):
    work_id = Id()


class Alerts(OnFarm):
    needs = {
        "list": Need.READ,
        "retrieve": Need.READ,
        "seen": Need.RECORD,
        "acknowledge": Need.RECORD,
        "later": Need.RECORD,
        "works": Need.RECORD,
    }
    lookup_url_kwarg = "alert_id"
    newest_first = ("-opened_at", "-id")

    @extend_schema(responses=AlertSerializer(many=True), parameters=[AlertQuery])
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The farm's alerts, newest first."""
        asked = self.query(AlertQuery)
        names = {"open": "closed_at__isnull", "rule": "rule", "method": "method", "since": "opened_week__gte"}
        if "since" in asked:
            asked["since"] = monday_of(asked["since"])
        return self.page(with_state(alerts_of(self.farm).filter(**renamed(asked, names))), AlertSerializer)

    @extend_schema(responses=AlertWithEventsSerializer)
    def retrieve(self, request: Request, farm_id: UUID, alert_id: UUID) -> Response:
        """One alert, and what happened to it, oldest first."""
        alert = self._alert(alert_id)
        answer: dict[str, Any] = dict(AlertSerializer(alert).data)
        answer["work_ids"] = [str(link.work_id) for link in works_linked_to(alert)]
        history, context = alert_history(alert), {"notes": notes_of(alert)}
        answer["events"] = AlertEventSerializer(history, many=True, context=context).data
        return self.told(answer)

    @extend_schema(request=None, responses=AlertEventSerializer)
    @action(detail=True, methods=["post"])
    def seen(self, request: Request, farm_id: UUID, alert_id: UUID) -> Response:
        """Note that you have looked at an open alert; twice in a row is once."""
        event = mark_seen(alert=self._alert(alert_id), actor=self.actor, now=self.now)
        return Response(AlertEventSerializer(event).data)

    @extend_schema(request=NewNote, responses={201: AlertEventSerializer}, examples=[NOTE])
    @action(detail=True, methods=["post"])
    def acknowledge(self, request: Request, farm_id: UUID, alert_id: UUID) -> Response:
        """Take an open alert on, with some words for the others. The counts end it, nothing else."""
        note = self.body(NewNote)["note"]
        event = acknowledge(alert=self._alert(alert_id), note=note, actor=self.actor, now=self.now)
        return Response(AlertEventSerializer(event).data, status=201)

    @extend_schema(request=PutOff, responses={201: AlertEventSerializer}, examples=[LATER])
    @action(detail=True, methods=["post"])
    def later(self, request: Request, farm_id: UUID, alert_id: UUID) -> Response:
        """Put an open alert off to a day: until then it heads no list."""
        event = snooze(alert=self._alert(alert_id), **self.body(PutOff), actor=self.actor, now=self.now)
        return Response(AlertEventSerializer(event).data, status=201)

    @extend_schema(request=WorkDoneAbout, responses={201: AlertEventSerializer}, examples=[DONE])
    @action(detail=True, methods=["post"])
    def works(self, request: Request, farm_id: UUID, alert_id: UUID) -> Response:
        """Say which work was done about an open alert; the same work twice is once."""
        alert = self._alert(alert_id)
        work = one_of(works_of(self.farm), self.body(WorkDoneAbout)["work_id"])
        event = link_work(alert=alert, work=work, actor=self.actor, now=self.now)
        return Response(AlertEventSerializer(event).data, status=201)

    def _alert(self, alert_id: UUID) -> Any:
        return one_of(with_state(alerts_of(self.farm)), alert_id)
