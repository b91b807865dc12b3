"""One-time links at which a hired sprayer fills in one record, without an account."""

from uuid import UUID

from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, one_of
from monitoring.selectors import sprayer_links_of
from monitoring.services import make_sprayer_link, withdraw_sprayer_link
from server.api.pagination import OnePage
from server.api.people_only import OnFarmForPeople


class SprayerLinkSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    made_by_id = serializers.UUIDField()
    made_at = serializers.DateTimeField()
    expires_at = serializers.DateTimeField()


class SprayerLinkWithAddress(SprayerLinkSerializer):
    address = serializers.CharField(help_text="Opens once. Shown here and never again.")


class SprayerLinks(OnFarmForPeople):
    tells_secret = True
    needs = {"list": Need.MANAGE, "create": Need.MANAGE, "destroy": Need.MANAGE}
    pagination_class = OnePage
    lookup_url_kwarg = "sprayer_link_id"

    @extend_schema(responses=SprayerLinkSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The links that wait to be used, newest first."""
        return self.page(sprayer_links_of(self.farm, timezone.now()), SprayerLinkSerializer)

    @extend_schema(request=None, responses={201: SprayerLinkWithAddress})
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Make a link for a hired sprayer. It lasts seven days and is used up by one record; an owner confirms that."""
        link, key = make_sprayer_link(farm=self.farm, by=self.user, actor=self.actor, now=timezone.now())
        link.address = settings.SITE_URL + reverse("spray_record", args=[key])  # type: ignore[attr-defined]
        return Response(SprayerLinkWithAddress(link).data, status=201)

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, farm_id: UUID, sprayer_link_id: UUID) -> Response:
        """Take a link back."""
        link = one_of(sprayer_links_of(self.farm, timezone.now()), sprayer_link_id)
        withdraw_sprayer_link(link=link, actor=self.actor, now=self.now)
        return Response(status=204)
