"""The farm's own log: who came in, which key was made or ended, what was taken out, what was agreed to."""

from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need
from farms.models.chain import ActorKind
from farms.models.log import LogKind
from farms.selectors import log_of
from server.api.fields import Body, Choice, Moment
from server.api.views import OnFarm


class LogEventSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    at = serializers.DateTimeField()
    kind = serializers.ChoiceField(LogKind.choices)
    actor_kind = serializers.ChoiceField(ActorKind.choices)
    actor_id = serializers.UUIDField(allow_null=True, help_text="A person, a token or a farm phone; names stay out.")
    about = serializers.CharField(
        help_text="Which key, table, role or consent; then the id of the person whom it is about, if not who acted."
    )


class LogQuery(Body):
    kind = Choice(LogKind.choices, required=False)
    since = Moment(required=False, help_text="This moment or later.")


class Log(OnFarm):
    needs = {"list": Need.OWN}
    newest_first = ("-at", "-id")

    @extend_schema(responses=LogEventSerializer(many=True), parameters=[LogQuery])
    def list(self, request: Request, farm_id: UUID) -> Response:
        """What happened around the farm's data, newest first; for its owners.

        Every sign-in of somebody who could see the farm then, every token and farm phone, export, consent and role.
        """
        return self.page(log_of(self.farm, **self.query(LogQuery)), LogEventSerializer)
