"""Webhooks of a farm: an address that is rung when something happened there. Made and switched by an owner."""

from uuid import UUID

from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.models.webhook import Happening, HookProblem, OffBecause
from alerts.outbound import LONGEST
from alerts.selectors import webhooks_of
from alerts.services import NewWebhook, end_webhook, make_webhook, switch_webhook
from farms.access import Need, one_of
from server.api.fields import MISSING, Body, Choice, Text, YesNo
from server.api.pagination import OnePage
from server.api.people_only import OnFarmForPeople

EXAMPLE = OpenApiExample(
    "For a board in the milking parlour's office (an invented address)",
    {"address": "https://hooks.example.org/flies", "kinds": ["alert.opened", "alert.closed"]},
    request_only=True,
)


class WebhookSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    address = serializers.CharField()
    kinds = serializers.ListField(child=serializers.ChoiceField(Happening.choices))
    made_by_id = serializers.UUIDField()
    made_at = serializers.DateTimeField()
    on = serializers.BooleanField(source="is_on")
    off_at = serializers.DateTimeField(allow_null=True)
    off_because = serializers.ChoiceField(OffBecause.choices, allow_blank=True)
    failures = serializers.IntegerField(help_text="Tries in a row that failed.")
    problem = serializers.ChoiceField(HookProblem.choices, allow_blank=True, help_text="Of the last try.")
    status = serializers.IntegerField(allow_null=True, help_text="What it answered last.")
    sent_at = serializers.DateTimeField(allow_null=True, help_text="When it last took a message.")


class WebhookWithSecretSerializer(WebhookSerializer):
    secret = serializers.CharField(help_text="What messages are signed with. Shown here and never again.")


class NewWebhookBody(Body):
    address = Text(max_length=LONGEST, help_text="https only, on the open internet.")
    kinds = serializers.ListField(
        child=Choice(Happening.choices),
        allow_empty=False,
        max_length=len(Happening),
        error_messages={**MISSING, "empty": _("Name one kind at least.")},
        help_text="What is told there.",
    )


class SwitchedBody(Body):
    on = YesNo(help_text="On, it tells of what happens from then on.")


class Webhooks(OnFarmForPeople):
    tells_secret = True
    needs = {"list": Need.OWN, "create": Need.OWN, "destroy": Need.OWN, "switched": Need.OWN}
    pagination_class = OnePage
    lookup_url_kwarg = "webhook_id"

    @extend_schema(responses=WebhookSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The farm's webhooks, oldest first, and how they fare."""
        return self.page(webhooks_of(self.farm), WebhookSerializer)

    @extend_schema(request=NewWebhookBody, responses={201: WebhookWithSecretSerializer}, examples=[EXAMPLE])
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Make a webhook for what happens from now on; five at most. For persons, never with a key.

        Messages hold ids, a kind and a moment, no count and no name; read the rest with a key. They are signed as the
        specification Standard Webhooks says, with the secret of this answer, which is shown this once.
        """
        new = NewWebhook(**self.body(NewWebhookBody))
        webhook, secret = make_webhook(farm=self.farm, new=new, by=self.user, now=self.now)
        webhook.secret = secret  # type: ignore[attr-defined]
        return Response(WebhookWithSecretSerializer(webhook).data, status=201)

    @extend_schema(
        request=SwitchedBody,
        responses=WebhookSerializer,
        examples=[OpenApiExample("Off", {"on": False}, request_only=True)],
    )
    @action(detail=True, methods=["post"])
    def switched(self, request: Request, farm_id: UUID, webhook_id: UUID) -> Response:
        """Switch a webhook off or on. What happened while it was off is never told."""
        webhook = one_of(webhooks_of(self.farm), webhook_id)
        on = self.body(SwitchedBody)["on"]
        return Response(
            WebhookSerializer(switch_webhook(webhook=webhook, on=on, by=self.user, now=self.now)).data
        )  # fmt: skip

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, farm_id: UUID, webhook_id: UUID) -> Response:
        """Take a webhook away, at once, with what waits for it."""
        end_webhook(webhook=one_of(webhooks_of(self.farm), webhook_id), by=self.user, now=self.now)
        return Response(status=204)
