"""Asking for exports in these tests, and a season to take along."""

import csv
import io
import json
from datetime import date, datetime, time
from typing import Any

import openpyxl
import pyarrow as pa
from pyarrow import parquet

from farms.models import Farm, LogEvent
from tests.cast import as_factory

FORMS = ("csv", "ndjson", "xlsx", "parquet")


def path(farm: Farm, file: str = "") -> str:
    return f"/api/v1/farms/{farm.id}/exports" + (f"/{file}" if file else "")


def content(response: Any) -> bytes:
    """The whole body, streamed or not."""
    assert response.status_code == 200, response.content
    return b"".join(response.streaming_content) if response.streaming else response.content


def taken(sender: Any, farm: Farm, file: str, query: str = "") -> bytes:
    return content(sender.get(path(farm, file) + query))


def csv_rows(body: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(body.decode(), newline="")))


def sheet_of(body: bytes) -> tuple[list[Any], list[dict[str, Any]]]:
    """A workbook's cells of text, and its rows."""
    sheet = openpyxl.load_workbook(io.BytesIO(body)).active
    assert sheet is not None
    names, *rows = [[cell.value for cell in row] for row in sheet.iter_rows()]
    formulas = [cell for row in sheet.iter_rows() for cell in row if cell.data_type in ("f", "e")]
    return formulas, [dict(zip(names, row, strict=True)) for row in rows]


def parquet_of(body: bytes) -> pa.Table:
    return parquet.read_table(io.BytesIO(body))


def rows_in(form: str, body: bytes) -> list[dict[str, Any]]:
    """The rows of a file in any format, each value as the CSV writes it, "" for what is missing."""
    if form == "csv":
        return csv_rows(body)
    if form == "ndjson":
        found = [json.loads(line) for line in body.splitlines()]
    else:
        found = sheet_of(body)[1] if form == "xlsx" else parquet_of(body).to_pylist()
    return [{name: written(value) for name, value in row.items()} for row in found]


def written(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        return " ".join(map(str, value))
    if isinstance(value, datetime):
        # A sheet has days as moments without a zone.
        return value.strftime("%Y-%m-%dT%H:%M:%S.%fZ") if value.tzinfo else str(value.date())
    if isinstance(value, float):
        return str(int(value)) if value == int(value) else repr(value)
    return value.isoformat() if isinstance(value, date | time) else str(value)


def noted(farm: Farm) -> list[str]:
    """What the farm's log says of exports."""
    with as_factory():
        return list(
            LogEvent.objects.filter(farm=farm, kind="export").order_by("at", "id").values_list("about", flat=True)
        )
