"""Many readings at once: a file, or a list in JSON. Checked by column, stored in one go, or not at all."""

from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiExample, OpenApiTypes, extend_schema
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from farms.access import Need
from farms.errors import Detail, Invalid
from monitoring.csv_import import read_csv
from monitoring.models.round import Source
from monitoring.rules.table import MOST_ROWS, ReadingTable
from monitoring.services import ImportPlan, record_table, table_of_rows
from server.api.fields import Body, Choice, Day, Flag, Id, Text, Whole
from server.api.parsing import BulkJsonBody, CsvBody, file_in
from server.api.v1.readings import ReadingBody
from server.api.views import OnFarm

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
    row = serializers.IntegerField(help_text="The file's line, or the place in the list from 0.")
    column = serializers.CharField()
    value = serializers.CharField()
    code = serializers.CharField()
    reason = serializers.CharField(help_text="What to do about it.")


class ImportResultSerializer(serializers.Serializer):
    dry_run = serializers.BooleanField(help_text="Nothing was stored: these are the figures as they would be.")
    stored = serializers.IntegerField(help_text="Readings that are new.")
    known = serializers.IntegerField(help_text="Readings that were stored before and say the same.")
    rounds = serializers.IntegerField(help_text="Rounds that came with them.")
    bad = BadCellSerializer(many=True)
    more_bad = serializers.IntegerField(help_text="Further bad values that aren't listed.")


class PlanQuery(Body):
    dry_run = Flag(default=False, help_text="Store nothing; say what would be stored, and every bad value.")
    partial = Flag(default=False, help_text="Store the good rows and leave the bad ones out.")


class FileQuery(PlanQuery):
    order = Choice(["day_first", "month_first"], required=False, help_text="For dates such as 1/6/2026.")


class Imports(OnFarm):
    needs = {"create": Need.RECORD}
    parser_classes = (CsvBody, MultiPartParser)

    @extend_schema(
        request={"text/csv": OpenApiTypes.STR, "multipart/form-data": UPLOAD},
        responses={200: ImportResultSerializer},
        parameters=[FileQuery],
        examples=[FILE],
    )
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Import readings from a CSV file of at most 5 MB and 50,000 rows.

        The first row names the columns, in any order: station (Card 4, Trap 2, Leg count 1), taken on, hung on (empty
        for leg counts), count (61; 300+ for at least so many; 3 0 5 2 for four animals) and missing (lost, wet, ...);
        docs/readings-file.md tells of the others. Dates are 2026-06-30, or in the order that `order` says.

        Nothing is stored unless every value is good, or `partial` is asked for. The same file sent twice is stored
        once.
        """
        asked = self.query(FileQuery)
        order = asked.pop("order", None)
        return self.store(read_csv(file_in(request), order=order), ImportPlan(**asked, source=Source.FILE.value))

    def store(self, table: ReadingTable, plan: ImportPlan) -> Response:
        result = record_table(farm=self.farm, table=table, plan=plan, actor=self.actor, now=self.now)
        return Response(ImportResultSerializer({**vars(result), "dry_run": plan.dry_run}).data)


class BulkReadings(Imports):
    parser_classes = (BulkJsonBody,)

    @extend_schema(
        request=BulkBody,
        responses={200: ImportResultSerializer},
        parameters=[PlanQuery],
        examples=[ROWS],
    )
    def create(self, request: Request, farm_id: UUID) -> Response:
        """Send many readings, 50,000 at most.

        Nothing is stored unless every value is good, or `partial` is asked for. What was stored before and says the
        same is left as it is, so a list can be sent again.
        """
        asked = self.query(PlanQuery)
        return self.store(table_of_rows(rows_of(request.data)), ImportPlan(**asked, source=Source.PROGRAM.value))


def rows_of(body: Any) -> list[Any]:
    """The list in a bulk request's body. Raises Invalid."""
    if not isinstance(body, dict) or not isinstance(body.get("readings"), list):
        raise Invalid(errors=[Detail("/readings", _("Send an object whose `readings` is a list."), "not_a_list")])
    unknown = sorted(set(body) - {"readings"})
    if unknown:
        sentence = _("Nothing of this name is known here. Check how it is written.")
        raise Invalid(errors=[Detail(f"/{name}", sentence, "unknown") for name in unknown])
    return list(body["readings"])
