"""What a farm has agreed to: that an adviser sees it, that it counts in region reports."""

from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, one_of
from farms.models.access import ConsentKind
from farms.selectors import advisers_of_group, consents_of
from farms.services import AdviserUnknown, give_consent, join_comparison, withdraw_consent
from server.api.fields import Body, Choice, Id, YesNo
from server.api.pagination import OnePage
from server.api.views import OnFarm

EXAMPLE = OpenApiExample("Count in region reports", {"kind": "regional"}, request_only=True)


class ConsentSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    kind = serializers.ChoiceField(ConsentKind.choices)
    adviser_id = serializers.UUIDField(allow_null=True)
    whoever_follows = serializers.BooleanField(
        allow_null=True, help_text="Whether it holds for the next adviser of the group too, should this one leave it."
    )
    given_by_id = serializers.UUIDField()
    given_at = serializers.DateTimeField()
    withdrawn_at = serializers.DateTimeField(allow_null=True)


class NewConsent(Body):
    kind = Choice(ConsentKind.choices)
    adviser_id = Id(default=None, allow_null=True, help_text="Needed where the consent is for an adviser.")
    whoever_follows = YesNo(
        default=False, help_text="Also the next adviser that the group names, should this one leave."
    )


class Consents(OnFarm):
    needs = {"list": Need.READ, "create": Need.OWN, "destroy": Need.OWN}
    pagination_class = OnePage
    lookup_url_kwarg = "consent_id"

    @extend_schema(responses=ConsentSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """What the farm has agreed to, newest first, the ended ones too."""
        return self.page(consents_of(self.farm), ConsentSerializer)

    @extend_schema(request=NewConsent, responses={201: ConsentSerializer}, examples=[EXAMPLE])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Agree that an adviser sees the farm, or that it counts in region reports from the next quarter on.

        The latter takes the data agreement as it is now, accepted first: POST /farms/{farm_id}/agreement/acceptances.
        """
        body = self.body(NewConsent)
        adviser = advisers_of_group(self.farm.group_id).filter(id=body["adviser_id"]).first()
        if adviser is None and (body["adviser_id"] or body["kind"] == ConsentKind.ADVISER):
            raise AdviserUnknown(pointer="/adviser_id")
        if body["kind"] == ConsentKind.REGIONAL and adviser is None:
            consent = join_comparison(farm=self.farm, by=self.user, now=self.now)
        else:
            consent = give_consent(
                farm=self.farm, kind=body["kind"], adviser=adviser, whoever_follows=body["whoever_follows"],
                by=self.user, now=self.now,
            )  # fmt: skip
        return Response(ConsentSerializer(consent).data, status=201)

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, farm_id: UUID, consent_id: UUID) -> Response:
        """Withdraw a consent; a second time changes nothing.

        An adviser sees nothing of the farm from that moment on, and what they had planned there is taken back. A farm
        that counts in region reports counts until the quarter ends.
        """
        withdraw_consent(consent=one_of(consents_of(self.farm), consent_id), by=self.user, now=self.now)
        return Response(status=204)
