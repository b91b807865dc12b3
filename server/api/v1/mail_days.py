"""On which weekday a farm's weekly mail goes out: the days chosen so far, and another one."""

from uuid import UUID

from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.models.mail_day import MONDAY, SUNDAY
from alerts.selectors import mail_days_chosen
from alerts.services import set_mail_day
from farms.access import Need
from server.api.fields import Body, Whole
from server.api.pagination import OnePage
from server.api.views import OnFarm


class MailDaySerializer(serializers.Serializer):
    id = serializers.UUIDField()
    weekday = serializers.IntegerField(help_text="By ISO 8601: 1 is Monday.")
    set_by_id = serializers.UUIDField()
    set_at = serializers.DateTimeField()


class NewMailDay(Body):
    weekday = Whole(min_value=MONDAY, max_value=SUNDAY, help_text="By ISO 8601: 1 is Monday, 7 is Sunday.")


class MailDays(OnFarm):
    needs = {"list": Need.READ, "create": Need.MANAGE}
    pagination_class = OnePage

    @extend_schema(responses=MailDaySerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The days that were chosen, newest first. The first one holds; without one it is Monday."""
        return self.page(mail_days_chosen(self.farm), MailDaySerializer)

    @extend_schema(
        request=NewMailDay,
        responses={201: MailDaySerializer},
        examples=[OpenApiExample("On Wednesdays", {"weekday": 3}, request_only=True)],
    )
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Choose the weekday on which the weekly mail goes to the farm's owners, at 05:00 of the farm's clock.

        A mail about the newest week that was not written yet goes out on this day; one that was is not sent again.
        """
        weekday = self.body(NewMailDay)["weekday"]
        made = set_mail_day(farm=self.farm, weekday=weekday, by=self.user, now=self.now)
        return Response(MailDaySerializer(made).data, status=201)
