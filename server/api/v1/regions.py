"""Regions and their frozen weekly reports: read through the region role, which can read nothing else."""

from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, Who, one_of
from farms.models import ApiToken, Region
from farms.selectors import own_regions_of, regions_of, regions_open_to
from monitoring.methods import METHOD_CHOICES
from monitoring.models.region import Disclosure
from monitoring.regional.selectors import reports_of_region
from server.api.fields import Body, Choice, Day
from server.api.pagination import OnePage
from server.api.views import ApiViewSet, role_for


class RegionSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    group_id = serializers.UUIDField()
    name = serializers.CharField()


class RegionReportSerializer(serializers.Serializer):
    week = serializers.DateField(help_text="The Monday of the ISO week.")
    method = serializers.ChoiceField(METHOD_CHOICES)
    disclosure = serializers.ChoiceField(Disclosure.choices, help_text="How much the report may say.")
    contributors = serializers.CharField(help_text="Number of holdings, in words that name none of them.")
    mean = serializers.FloatField(allow_null=True, help_text="In the method's unit; null where it can't be told.")
    share_over = serializers.FloatField(allow_null=True, help_text="Share of the holdings over the level, 0 to 1.")
    word = serializers.CharField(help_text="low, middle or high against the level, where a number would tell too much.")
    level = serializers.FloatField(allow_null=True, help_text="The group's action level that week.")
    cutoff_at = serializers.DateTimeField(help_text="What arrived later isn't counted.")
    published_at = serializers.DateTimeField()
    rule_version = serializers.CharField()


class ReportQuery(Body):
    method = Choice(METHOD_CHOICES, required=False)
    since = Day(required=False, help_text="From the week of this day on.")


class Regions(ApiViewSet):
    pagination_class = OnePage

    @extend_schema(responses=RegionSerializer(many=True))
    def list(self, request: Request) -> Response:
        """The regions of your group, or of the group whose guest you are, by name."""
        return self.page(regions_for(self.who), RegionSerializer)


class RegionReports(ApiViewSet):
    newest_first = ("-week", "method")

    @extend_schema(responses=RegionReportSerializer(many=True), parameters=[ReportQuery])
    def list(self, request: Request, region_id: UUID) -> Response:
        """A region's weekly reports, newest first.

        Ten or more holdings give numbers, five to nine a word, fewer nothing. A report is never changed once it is
        published. Counts of different dairies measure activity, not how many flies there are: compare within a method.
        """
        region = one_of(regions_for(self.who), region_id)
        return self.page(reports_of_region(region.id, **self.query(ReportQuery)), RegionReportSerializer)


def regions_for(who: Who) -> QuerySet[Region]:
    """The regions whose reports somebody may read: of their groups, their farms, and where they are a guest."""
    return _of_program(who) if isinstance(who, ApiToken) else regions_open_to(who)


def own_regions_for(who: Who) -> QuerySet[Region]:
    """The regions of the groups in which somebody has a role or may read a farm; a guest has none."""
    return _of_program(who) if isinstance(who, ApiToken) else own_regions_of(who)


def _of_program(token: ApiToken) -> QuerySet[Region]:
    may_read = Need.READ in role_for(token, token.farm_id).may
    return regions_of(token.farm.group) if may_read else Region.objects.none()
