"""The mails that were written, to the letter, and what became of each: of a farm, an adviser, a coordinator."""

from base64 import b64encode
from typing import Any
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.models.outbox import DeliveryState, Refusal
from alerts.selectors.sent_mails import CONTENT, NEWEST_FIRST, digests_shown, lists_shown, reports_shown
from farms.access import Need, one_of
from server.api.views import ApiViewSet, OnFarm


class MailSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    recipient_id = serializers.UUIDField()
    occasion = serializers.CharField(
        help_text="The ISO week that it is about, as 2026-W27. 2026-W27-midweek could not wait for Monday."
    )
    language = serializers.CharField()
    subject = serializers.CharField()
    state = serializers.ChoiceField(
        DeliveryState.choices, help_text="queued: waits. unwanted: its reader chose not to get it. refused: see reason."
    )
    reason = serializers.ChoiceField([("", ""), *Refusal.choices], help_text="Why it was refused; else empty.")
    needs_a_look = serializers.BooleanField(help_text="Something is over its level, rising or overdue.")
    queued_at = serializers.DateTimeField()
    sent_at = serializers.DateTimeField(allow_null=True)


class WholeMailSerializer(MailSerializer):
    text = serializers.CharField()
    html = serializers.CharField(help_text="Its picture is named by cid:. The reader's own link is not in it.")
    picture = serializers.SerializerMethodField(help_text="PNG in base64; null where there is none.")
    picture_text = serializers.CharField(help_text="The picture in words.")

    def get_picture(self, mail: Any) -> str | None:
        return b64encode(bytes(mail.picture)).decode() if mail.picture else None


class MondayListSerializer(MailSerializer):
    group_id = serializers.UUIDField()


class WholeMondayListSerializer(WholeMailSerializer):
    group_id = serializers.UUIDField()


class CoordinatorReportSerializer(MondayListSerializer):
    pass


class WholeCoordinatorReportSerializer(WholeMondayListSerializer):
    pass


class Mails(OnFarm):
    needs = {"list": Need.MANAGE, "retrieve": Need.MANAGE}
    lookup_url_kwarg = "digest_id"
    newest_first = NEWEST_FIRST

    def shown(self) -> Any:
        return digests_shown(self.farm, self.user, self.role)

    @extend_schema(responses=MailSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The farm's weekly mails, newest first: an owner's own ones, for an adviser all of them."""
        return self.page(self.shown().defer(*CONTENT), MailSerializer)

    @extend_schema(responses=WholeMailSerializer)
    def retrieve(self, request: Request, farm_id: UUID, digest_id: UUID) -> Response:
        """One mail with its text, its HTML and its picture."""
        return self.told(WholeMailSerializer(one_of(self.shown(), digest_id)).data)


class MondayLists(ApiViewSet):
    lookup_url_kwarg = "monday_list_id"
    newest_first = NEWEST_FIRST

    @extend_schema(responses=MondayListSerializer(many=True))
    def list(self, request: Request) -> Response:
        """The Monday lists that were written to you, newest first.

        For people only: a token is refused.
        """
        return self.page(lists_shown(self.user).defer(*CONTENT), MondayListSerializer)

    @extend_schema(responses=WholeMondayListSerializer)
    def retrieve(self, request: Request, monday_list_id: UUID) -> Response:
        """One Monday list with its text, its HTML and its picture."""
        return self.told(WholeMondayListSerializer(one_of(lists_shown(self.user), monday_list_id)).data)


class CoordinatorReports(ApiViewSet):
    lookup_url_kwarg = "coordinator_report_id"
    newest_first = NEWEST_FIRST

    @extend_schema(responses=CoordinatorReportSerializer(many=True))
    def list(self, request: Request) -> Response:
        """The coordinator's reports that were written to you, newest first.

        For people only: a token is refused.
        """
        return self.page(reports_shown(self.user).defer(*CONTENT), CoordinatorReportSerializer)

    @extend_schema(responses=WholeCoordinatorReportSerializer)
    def retrieve(self, request: Request, coordinator_report_id: UUID) -> Response:
        """One coordinator's report with its text and its HTML."""
        return self.told(WholeCoordinatorReportSerializer(one_of(reports_shown(self.user), coordinator_report_id)).data)
