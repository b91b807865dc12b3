"""What a program needs to read the tables: Frictionless Table Schema and Data Package.

https://specs.frictionlessdata.io/table-schema/, https://specs.frictionlessdata.io/data-package/ (version 1 of both,
which readers of version 2 read as well). They describe the CSV files.
"""

from datetime import datetime
from typing import Any

from farms.models import Farm
from server.evidence.farm import FILE as EVIDENCE
from server.exports.columns import Column, Kind
from server.exports.formulas import harmless
from server.exports.sheet import moment_text
from server.exports.tables import TABLES, Table

TYPES: dict[Kind, dict[str, str]] = {
    Kind.ID: {"type": "string", "format": "uuid"},
    Kind.TEXT: {"type": "string"},
    Kind.WORD: {"type": "string"},
    Kind.WHOLE: {"type": "integer"},
    Kind.NUMBER: {"type": "number"},
    Kind.DAY: {"type": "date"},
    Kind.MOMENT: {"type": "datetime"},
    Kind.CLOCK: {"type": "time"},
    Kind.YES_NO: {"type": "boolean"},
    Kind.WHOLES: {"type": "string"},
}
MOMENT_FORMAT = "%Y-%m-%dT%H:%M:%S.%fZ"
APOSTROPHE = (
    " As people typed it; in CSV and XLSX an apostrophe stands before text that a spreadsheet would take for a formula,"
    " which begins with = + - @, a tab or a line's end."
)
SPACED = " Whole numbers with a space between; a list in NDJSON and Parquet."

EVIDENCE_OF_ALL = {
    "name": "evidence",
    "path": EVIDENCE,
    "description": "What shows that these records stood so on the days that were signed; for owners and advisers.",
    "profile": "data-resource",
    "format": "json",
    "mediatype": "application/json",
    "encoding": "utf-8",
}


def schema_of(table: Table) -> dict[str, Any]:
    """A table's Table Schema: its fields and its key."""
    return {
        "title": table.name,
        "description": table.says,
        "fields": [_field(column) for column in table.columns],
        "missingValues": [""],
        "primaryKey": list(table.key),
    }


def _field(column: Column) -> dict[str, Any]:
    says = column.says + {Kind.TEXT: APOSTROPHE, Kind.WHOLES: SPACED}.get(column.kind, "")
    told: dict[str, Any] = {"name": harmless(column.name), **TYPES[column.kind], "description": says}
    if column.kind is Kind.MOMENT:
        told["format"] = MOMENT_FORMAT
    bounds = {
        "required": column.always or None,
        "enum": list(column.words) or None,
        "minimum": column.least,
        "maximum": column.most,
        "pattern": r"\d+( \d+)*" if column.kind is Kind.WHOLES else None,
    }
    constraints = {name: value for name, value in bounds.items() if value is not None}
    return told | ({"constraints": constraints} if constraints else {})


def package_of(farm: Farm, now: datetime) -> dict[str, Any]:
    """The Data Package of all tables and their evidence: paths are those of the addresses beside this one."""
    return {
        "name": f"farm-{farm.id}",
        "title": farm.name,
        "description": "Weekly fly counts of one dairy. Missing is never zero; days are in the farm's time zone.",
        "created": moment_text(now),
        "resources": [*(_resource(table) for table in TABLES.values()), EVIDENCE_OF_ALL],
    }


def _resource(table: Table) -> dict[str, Any]:
    """The schema here says too which tables its ids are of: alone, a reader couldn't follow them."""
    keys = [
        {"fields": name, "reference": {"resource": other, "fields": "id"}} for name, other in table.points_to.items()
    ]
    return {
        "name": table.name,
        "path": f"{table.name}.csv",
        "description": table.says,
        "profile": "tabular-data-resource",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "dialect": {"delimiter": ",", "lineTerminator": "\n", "quoteChar": '"', "doubleQuote": True, "header": True},
        "schema": schema_of(table) | ({"foreignKeys": keys} if keys else {}),
    }
