"""Regions and their frozen weekly reports: read through the region role, which can read nothing else."""

import csv
import io
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpResponse
from django.utils.http import content_disposition_header
from drf_spectacular.utils import OpenApiTypes, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need, Who, one_of
from farms.agreement import licence_of_group
from farms.clock import local_date
from farms.licences import Licence
from farms.models import ApiToken, Region
from farms.selectors import own_regions_of, regions_of, regions_open_to
from monitoring.methods import METHOD_CHOICES
from monitoring.models import RegionReport
from monitoring.models.region import Disclosure, Third
from monitoring.regional.selectors import reports_of_region, weeks_in_numbers
from monitoring.selectors import places_of_farm
from server.api.fields import Body, Choice, Day, Flag
from server.api.pagination import NewestFirst, OnePage
from server.api.v1.exports import ByAddress
from server.api.v1.licences import LicenceSerializer
from server.api.views import ApiViewSet, OnFarm, role_for

NOT_TOLD = "Null where it isn't told, whatever the reason."
LICENCE_TOLD = "An open licence of the region's reports, also in the header Link as rel=license."


class RegionSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    group_id = serializers.UUIDField()
    name = serializers.CharField()
    license = serializers.SerializerMethodField(help_text="Under which open licence its reports may be used.")

    @extend_schema_field(LicenceSerializer)
    def get_license(self, region: Region) -> dict[str, str]:
        return vars(self.context["licences"][region.group_id])


class RegionReportSerializer(serializers.Serializer):
    week = serializers.DateField(help_text="The Monday of the ISO week.")
    method = serializers.ChoiceField(METHOD_CHOICES)
    part = serializers.CharField(help_text="Empty: the whole region; else the farms of one housing, or rest.")
    disclosure = serializers.ChoiceField(Disclosure.choices, help_text="How much the report may say.")
    contributors = serializers.CharField(help_text="Number of holdings, in words that name none of them.")
    normal = serializers.FloatField(
        allow_null=True, help_text=f"How many times their own normal the farms are at; 1 is as usual. {NOT_TOLD}"
    )
    normal_middle = serializers.FloatField(allow_null=True, help_text="The same of the middle third.")
    normal_share = serializers.FloatField(allow_null=True, help_text="Share above their own normal, 0 to 1.")
    usual_normal_low = serializers.FloatField(
        allow_null=True, help_text="Lower end of what is usual of normal at this time of the year; null in first years."
    )
    usual_normal_high = serializers.FloatField(allow_null=True, help_text="Its upper end.")
    growth = serializers.FloatField(allow_null=True, help_text=f"Growth a week; 0.2: by a fifth. {NOT_TOLD}")
    growth_low = serializers.FloatField(allow_null=True, help_text="Lower end of its 95 % interval.")
    growth_high = serializers.FloatField(allow_null=True, help_text="Its upper end.")
    mean = serializers.FloatField(allow_null=True, help_text="In the method's unit; null where it can't be told.")
    middle = serializers.FloatField(allow_null=True, help_text="The mean of the middle third, in the method's unit.")
    usual_low = serializers.FloatField(
        allow_null=True, help_text="Lower end of what is usual of the mean at this time of the year."
    )
    usual_high = serializers.FloatField(allow_null=True, help_text="Its upper end.")
    share_over = serializers.FloatField(allow_null=True, help_text="Share of the holdings over the level, 0 to 1.")
    share_rising = serializers.FloatField(allow_null=True, help_text="Share of the holdings that rise, 0 to 1.")
    word = serializers.CharField(help_text="low, middle or high against the level, where a number would tell too much.")
    level = serializers.FloatField(allow_null=True, help_text="The group's action level that week.")
    cutoff_at = serializers.DateTimeField(help_text="What arrived later isn't counted.")
    published_at = serializers.DateTimeField()
    rule_version = serializers.CharField()


COLUMNS = tuple(RegionReportSerializer().fields)


class ReportQuery(Body):
    method = Choice(METHOD_CHOICES, required=False)
    since = Day(required=False, help_text="From the week of this day on.")
    by_housing = Flag(default=False, help_text="true: with the reports by housing, where the region is split.")


class Licensed(NewestFirst):
    """Pages that name the licence of what is on them."""

    def paginate_queryset(self, queryset: QuerySet[Any], request: Request, view: Any = None) -> list[Any]:
        self.licence: Licence = view.licence
        return super().paginate_queryset(queryset, request, view)

    def get_paginated_response(self, data: Any) -> Response:
        response = super().get_paginated_response(data)
        response.data["license"] = vars(self.licence)
        return response

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        told = super().get_paginated_response_schema(schema)
        text = {"type": "string"}
        licence = {
            "type": "object", "description": LICENCE_TOLD, "required": ["spdx", "name", "url"],
            "properties": {"spdx": text, "name": text, "url": {**text, "format": "uri"}},
        }  # fmt: skip
        told["properties"]["license"] = licence
        told["required"] = [*told["required"], "license"]
        return told


class Regions(ApiViewSet):
    pagination_class = OnePage

    @extend_schema(responses=RegionSerializer(many=True))
    def list(self, request: Request) -> Response:
        """The regions of your group, or of the group whose guest you are, by name."""
        return self.page(regions_for(self.who), RegionSerializer)

    def get_serializer_context(self) -> dict[str, Any]:
        """With the licence of each group whose regions somebody may read: few, and most often one."""
        groups = {region.group_id: region.group for region in regions_for(self.who).select_related("group")}
        licences = {
            group_id: licence_of_group(group_id, local_date(self.now, group.time_zone))
            for group_id, group in groups.items()
        }
        return {**super().get_serializer_context(), "licences": licences}


class OfRegion(ApiViewSet):
    """What is told of one region, under its licence."""

    licence: Licence

    def reports(self, region_id: UUID) -> QuerySet[RegionReport]:
        asked = self.query(ReportQuery)
        region = one_of(regions_for(self.who).select_related("group"), region_id)
        self.licence = licence_of_group(region.group_id, local_date(self.now, region.group.time_zone))
        by_housing = asked.pop("by_housing")
        reports = reports_of_region(region.id, **asked)
        return reports if by_housing else reports.filter(part="")

    def linked(self, response: Any) -> Any:
        response.headers["Link"] = f'<{self.licence.url}>; rel="license"'
        return response


class RegionReports(OfRegion):
    pagination_class = Licensed
    newest_first = ("-week", "method", "part")

    @extend_schema(responses=RegionReportSerializer(many=True), parameters=[ReportQuery])
    def list(self, request: Request, region_id: UUID) -> Response:
        """A region's weekly reports, newest first.

        Ten or more holdings give numbers, five to nine a word, fewer nothing. A report is never changed once it is
        published. Counts of different dairies measure activity, not how many flies there are: compare within a method,
        and look at `normal` first, which holds each farm against its own weeks before.
        """
        return self.linked(self.page(self.reports(region_id), RegionReportSerializer))


class RegionReportsAsCsv(OfRegion):
    content_negotiation_class = ByAddress

    @extend_schema(
        summary="A region's weekly reports as CSV, newest first.",
        description="A header line, then a report a line, UTF-8; an empty cell where it isn't told. The columns, in "
        f"this order: {', '.join(COLUMNS)}. They mean what they mean in the JSON. {LICENCE_TOLD}",
        parameters=[ReportQuery],
        responses={(200, "text/csv"): OpenApiTypes.STR},
    )
    def retrieve(self, request: Request, region_id: UUID) -> HttpResponse:
        reports = self.reports(region_id).order_by("-week", "method", "part")
        text = io.StringIO()
        lines = csv.DictWriter(text, COLUMNS, lineterminator="\n")
        lines.writeheader()
        lines.writerows(RegionReportSerializer(reports, many=True).data)
        response = HttpResponse(text.getvalue(), content_type="text/csv; charset=utf-8; header=present")
        name = content_disposition_header(as_attachment=True, filename="region-reports.csv")
        response.headers["Content-Disposition"] = str(name)
        return self.linked(response)  # type: ignore[no-any-return]


class RegionPlaceSerializer(serializers.Serializer):
    week = serializers.DateField(help_text="The Monday of the ISO week.")
    method = serializers.ChoiceField(METHOD_CHOICES)
    third = serializers.ChoiceField(
        Third.choices,
        help_text="1 the lower third of those who counted in the report, 2 the middle, 3 the upper.",
    )


class RegionPlaces(OnFarm):
    needs = {"list": Need.READ}
    newest_first = ("-week", "method")

    @extend_schema(responses=RegionPlaceSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """In which third of its region's reports the farm lies, newest week first.

        From its owner's own value as it was frozen for that week, where the region's report tells numbers; a week that
        isn't here isn't told. No other farm's place is to be had.
        """
        return self.page(places_of_farm(self.farm.id, weeks_in_numbers(self.farm.region_id)), RegionPlaceSerializer)


def regions_for(who: Who) -> QuerySet[Region]:
    """The regions whose reports somebody may read: of their groups, their farms, and where they are a guest."""
    return _of_program(who) if isinstance(who, ApiToken) else regions_open_to(who)


def own_regions_for(who: Who) -> QuerySet[Region]:
    """The regions of the groups in which somebody has a role or may read a farm; a guest has none."""
    return _of_program(who) if isinstance(who, ApiToken) else own_regions_of(who)


def _of_program(token: ApiToken) -> QuerySet[Region]:
    may_read = Need.READ in role_for(token, token.farm_id).may
    return regions_of(token.farm.group) if may_read else Region.objects.none()
