"""Feed addresses of whoever asks: a calendar of rounds due and the open matters, each at a secret address."""

from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import one_of
from farms.models.access import FeedKind
from farms.selectors import feeds_of
from farms.services import make_feed, revoke_feed
from server.api.fields import Body, Choice
from server.api.pagination import OnePage
from server.api.views import ApiViewSet
from server.feeds.views import address_of

EXAMPLE = OpenApiExample("The rounds due", {"kind": "calendar"}, request_only=True)


class FeedSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    kind = serializers.ChoiceField(FeedKind.choices)
    made_at = serializers.DateTimeField()
    last_used_on = serializers.DateField(allow_null=True)


class FeedWithAddressSerializer(FeedSerializer):
    address = serializers.URLField(help_text="Who has it reads the feed. Shown here and never again.")


class NewFeed(Body):
    kind = Choice(FeedKind.choices, help_text="calendar: iCalendar of rounds due. matters: Atom feed of open matters.")


class Feeds(ApiViewSet):
    # An address's life is real time, as a token's.
    tells_secret = True
    pagination_class = OnePage
    lookup_url_kwarg = "feed_id"

    @extend_schema(responses=FeedSerializer(many=True))
    def list(self, request: Request) -> Response:
        """Your feed addresses that work, newest first.

        For people only: a token is refused.
        """
        return self.page(feeds_of(self.user).filter(revoked_at__isnull=True), FeedSerializer)

    @extend_schema(request=NewFeed, responses={201: FeedWithAddressSerializer}, examples=[EXAMPLE])
    def create(self, request: Request) -> Response:
        """Make a secret address at which a program reads your rounds due or your open matters.

        You have one of each kind: a second one ends the first. It shows the farms that you may see at the moment of
        each request, in your language, and no counts. For people only: a token is refused.
        """
        feed, key = make_feed(user=self.user, **self.body(NewFeed), now=timezone.now())
        feed.address = address_of(feed.kind, key)  # type: ignore[attr-defined]
        return Response(FeedWithAddressSerializer(feed).data, status=201)

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, feed_id: UUID) -> Response:
        """Switch a feed address off, at once; a second time changes nothing."""
        revoke_feed(feed=one_of(feeds_of(self.user), feed_id), by=self.user, now=timezone.now())
        return Response(status=204)
