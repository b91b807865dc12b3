"""A farm's own data to take along: tables in four formats, what they mean, a map, an archive for research."""

import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from typing import IO, Any, ClassVar
from uuid import UUID

from django.http import FileResponse, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.utils.http import content_disposition_header
from django.utils.text import slugify
from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import OpenApiTypes, extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from farms.access import Need, may_locate
from farms.errors import Detail, Forbidden
from farms.models.log import LogKind
from farms.services import note_in_log
from monitoring.methods import METHOD_CHOICES
from server.api.fields import Body, Choice, Day, Flag
from server.api.pagination import OnePage
from server.api.problems import BadQuery
from server.api.views import FIELDS, PAGING, OnFarm
from server.evidence.farm import FILE as EVIDENCE
from server.evidence.farm import pieces_of
from server.exports.columnar import write_parquet
from server.exports.darwin_core import write_archive
from server.exports.package import package_of, schema_of
from server.exports.places import stations_on_the_map
from server.exports.sheet import write_sheet
from server.exports.streams import csv_of, later, ndjson_of
from server.exports.tables import READINGS, TABLES, Rows, Table
from server.farm_archive import archive_of

# A smaller file stays in memory, a larger one lies on the disk.
KEPT_IN_MEMORY = 1024 * 1024
UNKNOWN = _("Nothing of this name is known here. Check how it is written.")
WORDS: dict[str, Callable[[], serializers.Field[Any, Any, Any, Any]]] = {
    "since": lambda: Day(required=False, help_text="This day, or the week that holds it, and later."),
    "until": lambda: Day(required=False, help_text="This day, or the week that begins on it, and earlier."),
    "method": lambda: Choice(METHOD_CHOICES, required=False),
}
NOTED = "It is noted in the farm's log. Whoever may read the farm may take it along; a farm phone may not."


@dataclass(frozen=True)
class Form:
    """A format that a table leaves in: streamed row by row, or written to a temporary file first."""

    ending: str
    media_type: str
    says: str
    stream: Callable[[Table, Rows], Iterator[bytes]] | None = None
    write: Callable[[Table, Rows, IO[bytes]], None] | None = None


FORMS = {
    form.ending: form
    for form in (
        Form("csv", "text/csv; charset=utf-8; header=present",
             "A row a line in UTF-8, streamed. Missing is an empty cell; a text that looks like a formula begins "
             "with an apostrophe.", stream=csv_of),
        Form("ndjson", "application/x-ndjson", "A JSON object a line, streamed. Missing is null; text is as it was "
             "typed.", stream=ndjson_of),
        Form("xlsx", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
             "A sheet of at most 100,000 rows. Missing is an empty cell; a text that looks like a formula begins "
             "with an apostrophe.", write=write_sheet),
        Form("parquet", "application/vnd.apache.parquet", "Columns with their types. Missing is null; text is as it "
             "was typed.", write=write_parquet),
    )
}  # fmt: skip


class ByAddress(BaseContentNegotiation):
    """The address says the format, so no Accept header is refused."""

    def select_parser(self, request: Request, parsers: Any) -> Any:
        return parsers[0]

    def select_renderer(self, request: Request, renderers: Any, format_suffix: str | None = None) -> Any:
        return renderers[0], renderers[0].media_type


class ExportView(OnFarm):
    """One file of a farm's data. It is noted in the log before its first byte leaves."""

    needs = {"retrieve": Need.READ}
    content_negotiation_class = ByAddress

    @property
    def default_response_headers(self) -> dict[str, str]:
        return {**super().default_response_headers, "Cache-Control": "private, no-store"}

    def asked(self, kind: type[Body]) -> dict[str, Any]:
        """The query, checked; there are no pages here, and all of the fields. Raises BadQuery."""
        of_lists = [name for name in (*PAGING, FIELDS) if name in self.request.query_params]
        if of_lists:
            raise BadQuery(errors=[Detail(name, str(UNKNOWN), "unknown") for name in of_lists])
        return self.query(kind)

    def answer(self, name: str, media_type: str, made: Callable[[], HttpResponseBase]) -> HttpResponseBase:
        """The file under a name of the farm's own; without it, and without a note, for HEAD."""
        if self.request.method == "HEAD":
            response: HttpResponseBase = HttpResponse()
        else:
            query = self.request.META.get("QUERY_STRING", "")
            note_in_log(
                farm=self.farm, kind=LogKind.EXPORT, actor=self.actor, now=self.now, about=f"{name} {query}".strip()
            )
            response = made()
        response.headers["Content-Type"] = media_type
        file = f"{slugify(self.farm.name)[:60] or 'farm'}-{name}"
        response.headers["Content-Disposition"] = str(content_disposition_header(as_attachment=True, filename=file))
        return response


class TableExport(ExportView):
    table: ClassVar[Table]
    form: ClassVar[Form]

    def retrieve(self, request: Request, farm_id: UUID) -> HttpResponseBase:
        rows = self.table.rows(self.farm, self.asked(query_of(self.table)))
        made = self.streamed if self.form.stream else self.written
        return self.answer(f"{self.table.name}.{self.form.ending}", self.form.media_type, lambda: made(rows))

    def streamed(self, rows: Rows) -> HttpResponseBase:
        stream, table = self.form.stream, self.table
        return StreamingHttpResponse(later(self.who, self.farm.id, lambda: stream(table, rows)))  # type: ignore[misc]

    def written(self, rows: Rows) -> HttpResponseBase:
        return file_response(lambda file: self.form.write(self.table, rows, file))  # type: ignore[misc]


def file_response(write: Callable[[IO[bytes]], None]) -> HttpResponseBase:
    """What was written; where it is large, from a file without a name that is gone with the answer."""
    with ExitStack() as closing:
        file = closing.enter_context(tempfile.SpooledTemporaryFile(max_size=KEPT_IN_MEMORY))
        write(file)
        size = file.tell()
        file.seek(0)
        if size <= KEPT_IN_MEMORY:
            return HttpResponse(file.read())
        # From here on the answer closes it.
        closing.pop_all()
        return FileResponse(file)


def query_of(table: Table) -> type[Body]:
    """The words that a table's query may hold."""
    return type(f"{table.name.title()}ToTakeQuery", (Body,), {name: WORDS[name]() for name in table.filters})


def table_view(table: Table, form: Form) -> type[TableExport]:
    """The view of one table in one format, described for the document."""
    described = extend_schema(
        summary=f"The {table.name} as {form.ending.upper()}.",
        description=f"{table.says} {form.says} {NOTED}",
        parameters=[query_of(table)],
        responses={(200, form.media_type.partition(";")[0]): OpenApiTypes.BINARY},
    )
    name = f"{table.name.title()}As{form.ending.title()}"
    return extend_schema_view(retrieve=described)(type(name, (TableExport,), {"table": table, "form": form}))


class SchemaOfTable(ExportView):
    table: ClassVar[Table]

    def retrieve(self, request: Request, farm_id: UUID) -> Response:
        self.asked(Body)
        return Response(schema_of(self.table))


def schema_view(table: Table) -> type[SchemaOfTable]:
    described = extend_schema(
        summary=f"What the columns of the {table.name} mean.",
        description="A Frictionless Table Schema, for the CSV file.",
        responses={200: OpenApiTypes.OBJECT},
    )
    name = f"SchemaOf{table.name.title()}"
    return extend_schema_view(retrieve=described)(type(name, (SchemaOfTable,), {"table": table}))


class DataPackage(ExportView):
    @extend_schema(responses={200: OpenApiTypes.OBJECT})
    def retrieve(self, request: Request, farm_id: UUID) -> Response:
        """What all the tables are and how they hang together.

        A Frictionless Data Package of the CSV files, by the paths beside this address.
        """
        self.asked(Body)
        return Response(package_of(self.farm, self.now))


class StationsOnTheMap(ExportView):
    @extend_schema(responses={(200, "application/geo+json"): OpenApiTypes.OBJECT})
    def retrieve(self, request: Request, farm_id: UUID) -> HttpResponseBase:
        """The stations on the map.

        GeoJSON (RFC 7946): each station at the place of its barn or lot, or without a geometry where that isn't known.
        For the farm's people and its advisers; no key is told where a farm is. It is noted in the farm's log.
        """
        self.asked(Body)
        if not may_locate(self.who):
            raise Forbidden()
        return self.answer("stations.geojson", "application/geo+json", self.collection)

    def collection(self) -> HttpResponseBase:
        return HttpResponse(JSONRenderer().render(stations_on_the_map(self.farm)))


class ArchiveQuery(query_of(READINGS)):  # type: ignore[misc]
    located = Flag(default=False, help_text="true: with the barns' places, for who may know them; no key may.")


class DarwinCoreArchive(ExportView):
    @extend_schema(parameters=[ArchiveQuery], responses={(200, "application/zip"): OpenApiTypes.BINARY})
    def retrieve(self, request: Request, farm_id: UUID) -> HttpResponseBase:
        """The readings for research: a Darwin Core Archive.

        Tables of events and of measurements after TDWG's Darwin Core and its text guide: a reading's exposure is an
        event, its round the event that it is part of. No names are in it, and no places unless `located` asks for them.
        It is noted in the farm's log.
        """
        asked = self.asked(ArchiveQuery)
        located = asked.pop("located")
        if located and not may_locate(self.who):
            raise Forbidden()

        def write(file: IO[bytes]) -> None:
            write_archive(self.farm, asked, file, located=located)

        return self.answer("darwin-core.zip", "application/zip", lambda: file_response(write))


class EvidenceOfFarm(ExportView):
    needs = {"retrieve": Need.MANAGE}

    @extend_schema(responses={(200, "application/json"): OpenApiTypes.OBJECT})
    def retrieve(self, request: Request, farm_id: UUID) -> HttpResponseBase:
        """What shows that these records stood so on the days that were signed, and weren't changed since.

        The farm's chain, the rows of rounds, readings, placements, work and photos, words of people by their hash only,
        and the signed days that cover them, in one JSON document; `verify` of the client checks it without a network.
        For the farm's owners and its advisers: it tells of what kind each entry was, and when it was made. It is noted
        in the farm's log.
        """
        self.asked(Body)
        return self.answer(EVIDENCE, "application/json", self.streamed)

    def streamed(self) -> HttpResponseBase:
        farm, now = self.farm, self.now
        return StreamingHttpResponse(
            later(self.who, farm.id, lambda: pieces_of(farm, now), needs=Need.MANAGE, snapshot=True)
        )


class FarmArchive(ExportView):
    needs = {"retrieve": Need.OWN}

    @extend_schema(responses={(200, "application/zip"): OpenApiTypes.BINARY})
    def retrieve(self, request: Request, farm_id: UUID) -> HttpResponseBase:
        """Everything of the farm in one file, which loads into an installation that doesn't have the farm.

        A ZIP of NDJSON, one file a table, and of pictures and scans; docs/farm-archive.md describes it. Names, notes
        and the places of barns are in it; keys, consents and mails are not. For owners, and no key. It is noted in
        the farm's log.
        """
        self.asked(Body)
        return self.answer("farm-archive.zip", "application/zip", self.streamed)

    def streamed(self) -> HttpResponseBase:
        def pieces() -> Iterator[bytes]:
            return archive_of(self.farm.id, now=self.now)

        return StreamingHttpResponse(later(self.who, self.farm.id, pieces, needs=Need.OWN, snapshot=True))


class ToTakeSerializer(serializers.Serializer):
    name = serializers.CharField()
    says = serializers.CharField(help_text="What it is.")
    filters = serializers.ListField(child=serializers.CharField(), help_text="What its query may hold.")
    formats = serializers.DictField(child=serializers.URLField(), help_text="An address for each format.")
    schema = serializers.URLField(help_text="What its columns mean.")


class Exports(OnFarm):
    needs = {"list": Need.READ}
    pagination_class = OnePage

    @extend_schema(responses=ToTakeSerializer(many=True))
    def list(self, request: Request, farm_id: UUID) -> Response:
        """What can be taken along: tables, their formats and what narrows them.

        Beside them stand datapackage.json, stations.geojson, darwin-core.zip and evidence.json, and for owners
        farm-archive.zip.
        """
        return self.page([self.described(table) for table in TABLES.values()], ToTakeSerializer)

    def described(self, table: Table) -> dict[str, Any]:
        def address(ending: str) -> str:
            return reverse(f"export-{table.name}-{ending}", kwargs={"farm_id": self.farm.id}, request=self.request)

        return {
            "name": table.name,
            "says": table.says,
            "filters": list(table.filters),
            "formats": {ending: address(ending) for ending in FORMS},
            "schema": address("schema.json"),
        }


def views() -> Iterator[tuple[str, type[ExportView]]]:
    """Every file with its view, by its name in the address."""
    for table in TABLES.values():
        for form in FORMS.values():
            yield f"{table.name}.{form.ending}", table_view(table, form)
        yield f"{table.name}.schema.json", schema_view(table)
    yield "datapackage.json", DataPackage
    yield "stations.geojson", StationsOnTheMap
    yield "darwin-core.zip", DarwinCoreArchive
    yield EVIDENCE, EvidenceOfFarm
    yield "farm-archive.zip", FarmArchive
