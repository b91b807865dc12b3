"""The mails that whoever asks gets by their roles, and how often each of them comes."""

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.models.mail_choice import ChoiceWay, HowOften, MailKind
from alerts.selectors.mail_choices import subscription_for, subscriptions_of
from alerts.services import choose_how_often
from server.api.fields import Body, Choice, Id
from server.api.pagination import OnePage
from server.api.views import ApiViewSet

# What a mail is about, where it is not a group.
ABOUT = {MailKind.DIGEST: "farm_id", MailKind.REGION_BULLETIN: "region_id"}
EXAMPLE = OpenApiExample(
    "Only when something needs a look",
    {"kind": "digest", "farm_id": "0197d0c2-5c00-7000-8000-000000000001", "how_often": "when_needed"},
    request_only=True,
)


class MailChoiceSerializer(serializers.Serializer):
    kind = serializers.ChoiceField(MailKind.choices)
    farm_id = serializers.UUIDField(allow_null=True, help_text="Of a digest.")
    group_id = serializers.UUIDField(allow_null=True, help_text="Of a Monday list or a coordinator's report.")
    region_id = serializers.UUIDField(allow_null=True, help_text="Of a region's bulletin.")
    name = serializers.CharField(help_text="The farm's, the group's or the region's.")
    how_often = serializers.ChoiceField(HowOften.choices)
    chosen_at = serializers.DateTimeField(
        allow_null=True, help_text="Null: nothing was chosen, so every week; of a bulletin, none."
    )


class NewMailChoice(Body):
    kind = Choice(
        MailKind.choices, help_text="digest: with farm_id. region_bulletin: with region_id. Others: with group_id."
    )
    farm_id = Id(required=False)
    group_id = Id(required=False)
    region_id = Id(required=False)
    how_often = Choice(
        HowOften.choices, help_text="when_needed: if something is over its action level, rising, or overdue."
    )


class MailChoices(ApiViewSet):
    pagination_class = OnePage

    @extend_schema(responses=MailChoiceSerializer(many=True))
    def list(self, request: Request) -> Response:
        """The mails that come to you, and how often.

        The digest of each farm that you own, the Monday list of each group that you advise for, the report of each
        that you coordinate, and the bulletins of regions of which you ever asked for one. For people only: a token is
        refused.
        """
        return self.page(subscriptions_of(self.user), MailChoiceSerializer)

    @extend_schema(request=NewMailChoice, responses={200: MailChoiceSerializer, 404: None}, examples=[EXAMPLE])
    def create(self, request: Request) -> Response:
        """Choose how often one of your mails comes.

        It holds for what waits to be sent, too; what isn't sent can still be read on the pages. Choosing what holds
        already changes nothing. For people only: a token is refused.
        """
        user, sent = self.user, self.body(NewMailChoice)
        about_id = sent.get(ABOUT.get(sent["kind"], "group_id"))
        subscription = subscription_for(user, sent["kind"], about_id)
        chosen = choose_how_often(
            subscription=subscription, by=user, how_often=sent["how_often"], way=ChoiceWay.API, now=self.now
        )
        return Response(MailChoiceSerializer(chosen).data)
