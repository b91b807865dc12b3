"""Many readings at once: a file, or a list in JSON. Checked by column; what became of each row is told."""

import json
from collections.abc import Iterator
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from drf_spectacular.utils import (
    OpenApiExample,
    OpenApiParameter,
    OpenApiResponse,
    OpenApiTypes,
    extend_schema,
    extend_schema_field,
)
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.pagination import BasePagination
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import replace_query_param

from farms.access import Need, record_of
from farms.errors import Detail
from monitoring.csv_import import read_csv
from monitoring.csv_import.text import check_size
from monitoring.models import Import
from monitoring.models.imports import UNFINISHED, ImportState
from monitoring.models.round import Source
from monitoring.rules.table import MOST_ROWS, ReadingTable
from monitoring.selectors import import_results, imports_of
from monitoring.services import OUTCOMES, ImportPlan, ImportResult, ImportSent, record_table, table_of_rows
from server.api.fields import Body, Choice, Day, Flag, Id, Text, Whole
from server.api.parsing import BulkJsonBody, CsvBody, file_in, read_json, readings_in
from server.api.problems import BadQuery
from server.api.v1.readings import ReadingBody
from server.api.views import OnFarm
from server.imports import problem_of_import, take_in

FILE = OpenApiExample(
    "Two cards (invented)",
    "station,hung on,taken on,count,missing\nCard 1,2026-05-25,2026-06-01,41,\nCard 2,2026-05-25,2026-06-01,,lost\n",
    media_type="text/csv",
    request_only=True,
)
ROWS = OpenApiExample(
    "Two cards (invented)",
    {
        "readings": [
            {"station": "Card 1", "hung_on": "2026-05-25", "taken_on": "2026-06-01", "count": 41},
            {"station": "Card 2", "hung_on": "2026-05-25", "taken_on": "2026-06-01", "reason": "lost"},
        ]
    },
    request_only=True,
)
PREFER = OpenApiParameter(
    "Prefer",
    str,
    OpenApiParameter.HEADER,
    description="`respond-async`: answer at once with 202 and the import, which a worker then does (RFC 7240).",
)
ROWS_IN_A_PIECE = 5_000
AGAIN = {"Retry-After": "1"}
UPLOAD = {"type": "object", "required": ["file"], "properties": {"file": {"type": "string", "format": "binary"}}}


class BulkRow(ReadingBody):
    """Says in the document what a row may hold; read by column, no row comes through a serializer."""

    station_id = None
    placement_id = None
    id = Id(required=False, help_text="Where you leave it away it follows from station and days.")
    station = Text(help_text="Its id, or as the farm calls it: Card 4.")
    taken_on = Day(help_text="The round's day.")
    device = Whole(default=1, min_value=1, help_text="1, 2, ... where more than one hangs at the station.")


class BulkBody(Body):
    readings = BulkRow.listed(MOST_ROWS)


class BadCellSerializer(serializers.Serializer):
    column = serializers.CharField()
    value = serializers.CharField()
    code = serializers.CharField()
    reason = serializers.CharField(help_text="What to do about it.")


class RowResultSerializer(serializers.Serializer):
    row = serializers.IntegerField(help_text="The file's line, or the place in the list from 0.")
    id = serializers.UUIDField(allow_null=True, help_text="The reading's; of a refused row as it was sent, or null.")
    outcome = serializers.ChoiceField(OUTCOMES, help_text="known: stored before, and says the same.")
    errors = BadCellSerializer(many=True, help_text="Why it was refused, three at most; nothing of it was stored.")


class ImportResultSerializer(serializers.Serializer):
    dry_run = serializers.BooleanField(help_text="Nothing was stored: these are the figures as they would be.")
    atomic = serializers.BooleanField(help_text="All or nothing was asked for.")
    stored = serializers.IntegerField(help_text="Readings that are new.")
    known = serializers.IntegerField(help_text="Readings that were stored before and say the same.")
    refused = serializers.IntegerField(help_text="Rows that can't be right.")
    rounds = serializers.IntegerField(help_text="Rounds that came with them.")
    results = RowResultSerializer(many=True, help_text="What became of each row, in the order sent.")


class PlanQuery(Body):
    dry_run = Flag(default=False, help_text="Store nothing; say what would become of each row.")
    atomic = Flag(default=False, help_text="Store all of it, or nothing where any value is bad.")


class FileQuery(PlanQuery):
    order = Choice(["day_first", "month_first"], required=False, help_text="For dates such as 1/6/2026.")


class PlaceSerializer(serializers.Serializer):
    pointer = serializers.CharField(help_text="JSON pointer (RFC 6901) into what was sent; empty for all of it.")
    code = serializers.CharField()
    detail = serializers.CharField()


class ImportProblemSerializer(serializers.Serializer):
    code = serializers.CharField()
    detail = serializers.CharField(help_text="What to do about it.")
    errors = PlaceSerializer(many=True)


class ImportSerializer(serializers.Serializer):
    id = serializers.UUIDField()
    state = serializers.ChoiceField(
        ImportState.choices,
        help_text="refused: nothing more of it is taken, and `problem` says why. failed: the fault is the service's.",
    )
    rows = serializers.IntegerField(allow_null=True, help_text="How many there are; null until they were read.")
    rows_done = serializers.IntegerField()
    stored = serializers.IntegerField(help_text="Readings that are new.")
    known = serializers.IntegerField(help_text="Readings that were stored before and say the same.")
    refused = serializers.IntegerField(help_text="Rows that can't be right.")
    rounds = serializers.IntegerField(help_text="Rounds that came with them.")
    dry_run = serializers.BooleanField()
    atomic = serializers.BooleanField()
    made_at = serializers.DateTimeField()
    ended_at = serializers.DateTimeField(allow_null=True)
    problem = serializers.SerializerMethodField()

    @extend_schema_field(ImportProblemSerializer(allow_null=True))
    def get_problem(self, imported: Import) -> Any:
        return problem_of_import(imported)


LATER = OpenApiResponse(ImportSerializer, "It was taken in; `Location` names the import, to be asked how far it is.")


class ByPlace(BasePagination):
    """Pages of what became of an import's rows, in the order sent: 100 a page, up to 1,000 by `limit`."""

    usual, most = 100, 1000

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> list[Any]:
        """`queryset` is the import itself."""
        self.first, self.limit = self._asked(request, "cursor", 0), self._asked(request, "limit", self.usual)
        self.address, self.rows_done = request.build_absolute_uri(), queryset.rows_done
        return import_results(queryset, self.first, self.limit)

    def _asked(self, request: Request, name: str, usual: int) -> int:
        given = request.query_params.get(name, str(usual))
        lowest, highest = (0, MOST_ROWS) if name == "cursor" else (1, self.most)
        if not (given.isascii() and given.isdecimal() and len(given) < 9 and lowest <= int(given) <= highest):
            sentence = _("Give a whole number from %(lowest)d to %(highest)d.")
            raise BadQuery(errors=[Detail(name, sentence % {"lowest": lowest, "highest": highest})])
        return int(given)

    def get_paginated_response(self, data: Any) -> Response:
        after, before = self.first + self.limit, max(self.first - self.limit, 0)
        links = {
            "next": self._link(after) if after < self.rows_done else None,
            "previous": self._link(before) if self.first else None,
        }
        return Response({**links, "results": data})

    def _link(self, first: int) -> str:
        return replace_query_param(self.address, "cursor", first)

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        link = {"type": ["string", "null"], "format": "uri"}
        properties = {"next": link, "previous": link, "results": schema}
        return {"type": "object", "required": list(properties), "properties": properties}

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        whole = {"type": "integer"}
        told = {"cursor": _("Where to go on: the place of the first row, from 0."), "limit": _("Rows on a page.")}
        return [
            {"name": name, "in": "query", "required": False, "description": str(text), "schema": whole}
            for name, text in told.items()
        ]


class TakesTables(OnFarm):
    """What takes many readings: at once, or later where `Prefer: respond-async` asks for it (RFC 7240)."""

    needs = {"create": Need.RECORD}

    def store(self, table: ReadingTable, plan: ImportPlan) -> HttpResponse:
        result = record_table(farm=self.farm, table=table, plan=plan, actor=self.actor, now=self.now)
        return HttpResponse(written(result, plan), content_type="application/json")

    def store_later(self, content: bytes, form: str, plan: ImportPlan, order: str | None = None) -> Response:
        sent = ImportSent(content, form, plan, get_language() or "en", order or "")
        made = take_in(farm=self.farm, sent=sent, who=self.who, now=self.now)
        address = reverse("farm-imports-detail", kwargs={"farm_id": self.farm.id, "import_id": made.id})
        headers = {"Location": address, "Preference-Applied": "respond-async", **AGAIN}
        return Response(ImportSerializer(made).data, status=202, headers=headers)


class Imports(TakesTables):
    needs = {"create": Need.RECORD, "list": Need.READ, "retrieve": Need.READ, "results": Need.READ}
    parser_classes = (CsvBody, MultiPartParser)
    lookup_url_kwarg = "import_id"
    newest_first = ("-made_at", "-id")

    @extend_schema(
        request={"text/csv": OpenApiTypes.STR, "multipart/form-data": UPLOAD},
        responses={200: ImportResultSerializer, 202: LATER},
        parameters=[FileQuery, PREFER],
        examples=[FILE],
    )
    def create(self, request: Request, farm_id: UUID) -> HttpResponseBase:
        """Import readings from a CSV file of at most 5 MB and 50,000 rows.

        The first row names the columns, in any order: station (Card 4, Trap 2, Leg count 1), taken on, hung on (empty
        for leg counts), count (61; 300+ for at least so many; 3 0 5 2 for four animals) and missing (lost, wet, ...);
        docs/readings-file.md tells of the others. Dates are 2026-06-30, or in the order that `order` says.

        Good rows are stored, bad ones are refused and named, unless `atomic` is asked for. The same file sent twice is
        stored once. With `Prefer: respond-async` the answer comes at once, and names the import to ask for.
        """
        asked = self.query(FileQuery)
        order = asked.pop("order", None)
        plan, content = ImportPlan(**asked, source=Source.FILE.value), file_in(request)
        if prefers_later(request):
            check_size(content)
            return self.store_later(content, "csv", plan, order)
        return self.store(read_csv(content, order=order), plan)

    @extend_schema(responses=ImportSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """The imports that were sent with `Prefer: respond-async`, newest first."""
        return self.page(imports_of(self.farm), ImportSerializer)

    @extend_schema(responses=ImportSerializer)
    def retrieve(self, request: Request, farm_id: UUID, import_id: UUID) -> Response:
        """How far an import is, and how it ended. Ask again after the seconds that Retry-After says."""
        imported = record_of(self.farm, Import, import_id)
        response = self.told(ImportSerializer(imported).data)
        if imported.state in UNFINISHED:
            response.headers["Retry-After"] = AGAIN["Retry-After"]
        return response

    @extend_schema(responses=RowResultSerializer(many=True))
    @action(detail=True, pagination_class=ByPlace)
    def results(self, request: Request, farm_id: UUID, import_id: UUID) -> Response:
        """What became of each row, in the order sent. Of an import that isn't done: of the rows that are.

        They are kept for a month after the import has ended.
        """
        return self.page(record_of(self.farm, Import, import_id), RowResultSerializer)


class BulkReadings(TakesTables):
    parser_classes = (BulkJsonBody,)

    @extend_schema(
        request=BulkBody,
        responses={200: ImportResultSerializer, 202: LATER},
        parameters=[PlanQuery, PREFER],
        examples=[ROWS],
    )
    def create(self, request: Request, farm_id: UUID) -> HttpResponseBase:
        """Send many readings, 50,000 at most.

        Good rows are stored, bad ones are refused and named, unless `atomic` is asked for. What was stored before and
        says the same is left as it is, so a list can be sent again. With `Prefer: respond-async` the answer comes at
        once, and names the import to ask for.
        """
        plan = ImportPlan(**self.query(PlanQuery), source=Source.PROGRAM.value)
        rows = readings_in(read_json(request.data))
        if prefers_later(request):
            return self.store_later(request.data, "json", plan)
        return self.store(table_of_rows(rows), plan)


def prefers_later(request: Request) -> bool:
    """Whether `Prefer` asks for an answer before the work is done (RFC 7240, section 4.1)."""
    preferences = request.headers.get("Prefer", "").split(",")
    return any(each.partition(";")[0].strip().lower() == "respond-async" for each in preferences)


def written(result: ImportResult, plan: ImportPlan) -> Iterator[str]:
    """The answer as JSON, in pieces: its rows come written, since a serializer would take longer than storing them."""
    told = {"dry_run": plan.dry_run, "atomic": plan.atomic, "stored": result.stored, "known": result.known}
    told |= {"refused": result.refused, "rounds": result.rounds}
    yield f'{json.dumps(told)[:-1]}, "results": ['
    for number, piece in enumerate(result.items.pieces(ROWS_IN_A_PIECE)):
        yield f"{',' if number else ''}{','.join(piece)}"
    yield "]}"
