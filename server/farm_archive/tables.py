"""Which tables are in a farm's archive, which are not and why, and how a row is written.

A table with a farm's data that is in neither list fails tests/server/test_farm_archive_tables.py.
"""

from dataclasses import dataclass
from graphlib import TopologicalSorter
from typing import Any
from uuid import UUID

from django.apps import apps
from django.conf import settings
from django.db import models
from django.db.models.fields.related import ForeignObject
from psycopg import sql

ACCESS = "It lets somebody in. People, programs and phones are invited anew, by whoever owns the farm there."
SENT = "A letter to one person, made of rows that are in; loaded elsewhere, it might leave once more."
UNDER_WAY = "On its way in: what came of it is in."
LEFT_OUT = {
    "farms_membership": ACCESS,
    "farms_consent": (
        "A yes to these people and this group, which nobody can give for another installation. That it was given or "
        "withdrawn stands in the log and, as a hash, in the chain."
    ),
    "farms_apitoken": ACCESS,
    "farms_phonecode": ACCESS,
    "farms_invitation": ACCESS,
    "monitoring_sprayerlink": ACCESS,
    "farms_erasurerequest": "What this installation was asked to erase.",
    "farms_headleaf": "Places in days that another installation signed.",
    "farms_farmanswer": "Answers kept for thirty days, to programs that have no key there.",
    "farms_adviseroffer": "Who would follow an adviser who left: of this group's advisers only.",
    "farms_openpromise": "What an adviser who left had promised: of this group's advisers only.",
    "farms_plannedvisit": "Plans of an adviser who isn't let in there.",
    "farms_lastfarmvisited": "An adviser's own, read by that adviser alone; it names another farm.",
    "monitoring_import": UNDER_WAY,
    "monitoring_importcontent": UNDER_WAY,
    "monitoring_importpart": UNDER_WAY,
    "monitoring_owntable": UNDER_WAY,
    "monitoring_contribution": "The farm's part in its region's reports, which stay where they were published.",
    "alerts_listedrise": "The group's own list, which no farm reads.",
    "alerts_checkfailure": "How this service ran.",
    "alerts_digest": SENT,
    "alerts_digestchoice": "How often one account gets its mail; chosen anew.",
    "alerts_webhook": "An address that programs of this installation's farm are rung at; set up anew.",
    "alerts_webhooksecret": "A secret.",
    "alerts_webhookdelivery": SENT,
}
# Of the group: what its records need to be read. Written in this order; loaded where the group isn't there yet.
SURROUNDINGS = (
    "farms_group", "farms_region", "farms_holding", "farms_groupterms", "farms_groupvisitrules", "alerts_grouplevel",
    "alerts_grouprule",
)  # fmt: skip
# Made anew where it is loaded, since another group there may have it.
NOT_TOLD = {"slug"}
MOMENT = """to_char({0} AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"')"""
FARM = "farms_farm"
Record = type[models.Model]


@dataclass(frozen=True)
class Column:
    name: str
    kind: str
    is_null: bool
    is_file: bool


@dataclass(frozen=True)
class ArchivedTable:
    """One table of the archive: a file of its rows, and files for what is too large for a line."""

    model: Record
    whose: str  # the column by which its rows are found

    @property
    def name(self) -> str:
        return self.model._meta.db_table

    @property
    def member(self) -> str:
        return f"{'surroundings' if self.name in SURROUNDINGS else 'tables'}/{self.name}.ndjson"

    @property
    def columns(self) -> list[Column]:
        fields = [each for each in self.model._meta.concrete_fields if each.column and each.column not in NOT_TOLD]
        made = [
            Column(each.column, _kind(each), each.null, isinstance(each, models.BinaryField) and not each.max_length)
            for each in fields
        ]
        return sorted(made, key=lambda column: column.name)

    @property
    def key(self) -> list[str]:
        """By which its rows are in order; a table with one row a farm has none beside the farm."""
        return sorted(field.column for field in self.model._meta.pk_fields if field.column != "farm_id") or [self.whose]

    def rows(self, values: dict[str, str | UUID]) -> sql.Composed:
        """The rows of `values`, as JSON in the order of their keys; the log before this archive's own line."""
        told = [sql.SQL("{} AS {}").format(self._written(each), sql.Identifier(each.name)) for each in self.columns]
        condition = sql.SQL("{} = {}").format(sql.Identifier(self.whose), sql.Literal(values[self.whose]))
        if self.name == "farms_logevent":
            condition += sql.SQL(" AND at < {}").format(sql.Literal(values["made_at"]))
        return sql.SQL("SELECT row_to_json(j)::text FROM (SELECT {} FROM {} WHERE {} ORDER BY {}) j").format(
            sql.SQL(", ").join(told), sql.Identifier(self.name), condition,
            sql.SQL(", ").join(map(sql.Identifier, self.key)),
        )  # fmt: skip

    def _written(self, column: Column) -> sql.Composable:
        name = sql.Identifier(column.name)
        if column.is_file:
            return sql.SQL("CASE WHEN {} IS NOT NULL THEN {} || id || {} END").format(
                name, sql.Literal(f"files/{self.name}/"), sql.Literal(f".{column.name}")
            )
        return sql.SQL(MOMENT).format(name) if column.kind == "moment" else name

    def file_name(self, row_id: Any, column: str) -> str:
        return f"files/{self.name}/{row_id}.{column}"


def _kind(field: Any) -> str:
    """What stands in JSON, in a word of docs/farm-archive.md."""
    target = field.target_field if field.is_relation else field
    kinds: tuple[tuple[Any, str], ...] = (
        (models.UUIDField, "id"),
        (models.DateTimeField, "moment"),
        (models.DateField, "day"),
        (models.TimeField, "clock"),
        (models.BooleanField, "yes or no"),
        (models.IntegerField, "whole number"),
        ((models.FloatField, models.DecimalField), "number"),
        (models.JSONField, "JSON"),
        (models.BinaryField, "bytes" if getattr(target, "max_length", None) else "file"),
        ((models.CharField, models.TextField), "text"),
    )
    return next((word for kind, word in kinds if isinstance(target, kind)), "list")


def farm_models() -> list[Record]:
    """Every table with a farm's data, from the models themselves."""
    return [m for m in apps.get_models() if any(field.column == "farm_id" for field in m._meta.concrete_fields)]


def archived() -> list[ArchivedTable]:
    """The tables of a farm's archive, by name: all that hold a farm's data, but for those left out."""
    found = [ArchivedTable(model, "farm_id") for model in farm_models() if model._meta.db_table not in LEFT_OUT]
    return sorted([ArchivedTable(apps.get_model("farms.Farm"), "id"), *found], key=lambda table: table.name)


def surroundings() -> list[ArchivedTable]:
    named = {model._meta.db_table: model for model in apps.get_models()}
    whose = {"farms_group": "group", "farms_region": "region", "farms_holding": "holding"}
    return [ArchivedTable(named[name], "id" if name in whose else "group_id") for name in SURROUNDINGS]


def in_order_of_loading(tables: list[ArchivedTable]) -> list[ArchivedTable]:
    """Each behind those that its rows lead to."""
    named = {table.name: table for table in tables if table.name != FARM}
    before = {name: sorted(leads_to(table.model) & set(named) - {name}) for name, table in named.items()}
    return [named[name] for name in TopologicalSorter(before).static_order()]


def leads_to(model: Record) -> set[str]:
    relations = [each for each in model._meta.get_fields() if isinstance(each, ForeignObject)]
    return {each.related_model._meta.db_table for each in relations if not isinstance(each.related_model, str)}


def columns_of_people(model: Record) -> list[str]:
    """The columns that may name an account: those that are tied to accounts, and ids that are tied to nothing."""
    tied = {name for each in model._meta.get_fields() if isinstance(each, ForeignObject) for name in each.from_fields}
    accounts = [
        field.column
        for field in model._meta.concrete_fields
        if isinstance(field, models.ForeignKey) and field.related_model._meta.label == settings.AUTH_USER_MODEL
    ]
    loose = [
        field.column
        for field in model._meta.concrete_fields
        if isinstance(field, models.UUIDField) and field.column not in {"id", *tied}
    ]
    return sorted([*accounts, *loose])
