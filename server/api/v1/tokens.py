"""Keys for programs, and the farm phones: made, listed, switched off. A key is told once, when it is made."""

from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, one_of
from farms.models.access import TokenScope
from farms.selectors import tokens_of
from farms.services import make_token, revoke_token
from server.api.fields import Body, Choice, Moment, Text
from server.api.pagination import OnePage
from server.api.views import OnFarm

FOR_PROGRAMS = [choice for choice in TokenScope.choices if choice[0] != TokenScope.COUNT]
EXAMPLE = OpenApiExample(
    "For a program that sends counts",
    {"name": "Herd program in the office", "scope": "write", "expires_at": "2027-01-01T00:00:00Z"},
    request_only=True,
)


class TokenSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    name = serializers.CharField()
    scope = serializers.ChoiceField(TokenScope.choices)
    made_by_id = serializers.UUIDField()
    made_at = serializers.DateTimeField()
    expires_at = serializers.DateTimeField()
    revoked_at = serializers.DateTimeField(allow_null=True)
    last_used_on = serializers.DateField(allow_null=True)


class TokenWithKeySerializer(TokenSerializer):
    key = serializers.CharField(help_text="Shown here and never again.")


class NewToken(Body):
    name = Text(max_length=120, help_text="Which program will use it.")
    scope = Choice(FOR_PROGRAMS)
    expires_at = Moment(help_text="At most 400 days ahead.")


class Tokens(OnFarm):
    tells_secret = True
    # A token's life is real time: it doesn't follow the demo's clock.
    needs = {"list": Need.OWN, "create": Need.OWN, "destroy": Need.OWN}
    pagination_class = OnePage
    lookup_url_kwarg = "token_id"

    @extend_schema(responses=TokenSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """Tokens and farm phones, newest first, the ended ones too."""
        return self.page(tokens_of(self.farm), TokenSerializer)

    @extend_schema(request=NewToken, responses={201: TokenWithKeySerializer}, examples=[EXAMPLE])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Make a token for a program.

        The answer holds its key, which is shown this once.
        """
        token, key = make_token(farm=self.farm, **self.body(NewToken), by=self.user, now=timezone.now())
        token.key = key  # type: ignore[attr-defined]
        return Response(TokenWithKeySerializer(token).data, status=201)

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, farm_id: UUID, token_id: UUID) -> Response:
        """Switch a token or a farm phone off, at once; a second time changes nothing."""
        revoke_token(token=one_of(tokens_of(self.farm), token_id), by=self.user, now=timezone.now())
        return Response(status=204)
