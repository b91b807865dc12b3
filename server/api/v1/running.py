"""How the service runs for a group: what is off, its newest week in counts, its mails and last runs. No farm's data."""

from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.models import CheckRun, Running
from alerts.selectors.running import Kind, last_ring, running_of, runs_of, what_is_off
from farms.access import watched_group
from farms.models import Group
from server.api.views import ApiViewSet
from server.metrics import seconds_of
from server.watchdog import allowed
from server.web.running import error_in_words, off_in_words

OF_ROW = [field.name for field in Running._meta.fields if field.name not in ("group", "settled_at", "mails_counted_at")]


class OffSerializer(serializers.Serializer):
    kind = serializers.ChoiceField([kind.value for kind in Kind])
    detail = serializers.CharField(help_text="A sentence, in the language of whoever asks.")
    since = serializers.DateTimeField(allow_null=True)


class RunSerializer(serializers.Serializer):
    week = serializers.DateField(help_text="The Monday of the ISO week.")
    state = serializers.ChoiceField(["due", "running", "done"])
    attempts = serializers.IntegerField(help_text="How often it was begun.")
    started_at = serializers.DateTimeField(allow_null=True)
    seconds = serializers.SerializerMethodField(help_text="What it took; null while it isn't done.")
    farms = serializers.IntegerField()
    failures = serializers.IntegerField()
    error = serializers.SerializerMethodField(help_text="What went wrong, in words; empty where nothing did.")

    @extend_schema_field(serializers.FloatField(allow_null=True))
    def get_seconds(self, run: CheckRun) -> float | None:
        return seconds_of(run) if run.state == "done" else None

    def get_error(self, run: CheckRun) -> str:
        return error_in_words(run.error)


class RunningSerializer(serializers.Serializer):
    group_id = serializers.UUIDField()
    off = OffSerializer(many=True, help_text="What does not match or is too old; empty where all is well.")
    rung_at = serializers.DateTimeField(allow_null=True, help_text="When the worker last heard the bell.")
    due_week = serializers.DateField(allow_null=True, help_text="The first week not judged, also one that is to come.")
    due_at = serializers.DateTimeField(allow_null=True)
    week = serializers.DateField(allow_null=True, help_text="The newest week judged.")
    to_judge = serializers.IntegerField(help_text="Farms that this week asks for.")
    judged = serializers.IntegerField()
    failed = serializers.IntegerField()
    owed = serializers.IntegerField(help_text="Farms judged whose owners get a mail.")
    written = serializers.IntegerField(help_text="Of those, farms with a mail.")
    waiting = serializers.IntegerField(help_text="Mails that wait.")
    sending = serializers.IntegerField()
    sent = serializers.IntegerField(help_text="Mails of the newest week.")
    refused = serializers.IntegerField(help_text="Mails of the newest week.")
    oldest_mail_at = serializers.DateTimeField(allow_null=True)
    set_aside = serializers.IntegerField(help_text="Farms and weeks with an error, not solved yet.")
    retry_at = serializers.DateTimeField(allow_null=True, help_text="When the first of them is tried again.")
    retry_asked_at = serializers.DateTimeField(allow_null=True)
    imports = serializers.IntegerField(help_text="Imports not ended.")
    oldest_import_at = serializers.DateTimeField(allow_null=True)
    runs = RunSerializer(many=True, help_text="The last twelve, newest first.")


class RunningOfGroup(ApiViewSet):
    @extend_schema(responses=RunningSerializer)
    def retrieve(self, request: Request, group_id: UUID) -> Response:
        """Whether the group's checks and mails run as they should; for its coordinators and the office.

        The counts are made each minute by the worker. Nothing of a farm is in them.
        """
        return self.told(RunningSerializer(self._known(watched_group(self.who, group_id))).data)

    def _known(self, group: Group) -> dict[str, Any]:
        row, rung_at = running_of(group), last_ring()
        off = what_is_off([row] if row else [], rung_at, allowed(), self.now)
        told = off_in_words(off, row, self.now)
        lines = [
            {"kind": each.kind.value, "detail": words, "since": each.since}
            for each, words in zip(off, told, strict=True)
        ]
        counted = row or Running()
        return {name: getattr(counted, name) for name in OF_ROW} | {
            "group_id": group.id, "off": lines, "rung_at": rung_at, "runs": runs_of(group),
        }  # fmt: skip
