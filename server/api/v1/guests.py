"""A coordinator's guests: they read the group's region reports until a day, and nothing else."""

from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import group_for, one_of
from farms.models import Group
from farms.models.access import GroupRole
from farms.selectors import guests_of
from farms.services import end_guest, invite_guest
from server.api.fields import Body, Moment, Text
from server.api.pagination import OnePage
from server.api.views import ApiViewSet

EXAMPLE = OpenApiExample(
    "Somebody invented, for a season",
    {"email": "wim.oster@example.org", "name": "Wim Oster, county office", "ends_at": "2027-01-01T00:00:00Z"},
    request_only=True,
)


class GuestSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    email = serializers.EmailField(source="user.email")
    name = serializers.CharField(help_text="As the coordinator wrote it.")
    ends_at = serializers.DateTimeField(help_text="Ends by itself then.")
    ended_at = serializers.DateTimeField(allow_null=True, help_text="When it was ended before that.")


class NewGuest(Body):
    email = Text(max_length=254)
    name = Text(max_length=120)
    ends_at = Moment(help_text="At most 400 days ahead.")


class Guests(ApiViewSet):
    # A guest's stay is real time, as a token's life: it doesn't follow the demo's clock.
    pagination_class = OnePage
    lookup_url_kwarg = "guest_id"

    @extend_schema(responses=GuestSerializer(many=True))
    def list(self, request: Request, group_id: UUID) -> Response:
        """The group's guests, the latest end first, the ended ones too; for its coordinators."""
        return self.page(guests_of(self._group(group_id)), GuestSerializer)

    @extend_schema(request=NewGuest, responses={201: GuestSerializer}, examples=[EXAMPLE])
    def create(self, request: Request, group_id: UUID) -> Response:
        """Let somebody read the group's region reports until a day.

        They sign in by a code mailed to their address, and see nothing else.
        """
        guest = invite_guest(group=self._group(group_id), **self.body(NewGuest), now=timezone.now())
        return Response(GuestSerializer(guest).data, status=201)

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, group_id: UUID, guest_id: UUID) -> Response:
        """End a guest's stay, at once; a second time changes nothing."""
        end_guest(guest=one_of(guests_of(self._group(group_id)), guest_id), now=timezone.now())
        return Response(status=204)

    def _group(self, group_id: UUID) -> Group:
        return group_for(self.who, group_id, role=GroupRole.COORDINATOR)
