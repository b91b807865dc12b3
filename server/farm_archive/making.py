"""Making a farm's archive: one snapshot, streamed, the same bytes each time but for the moment in the manifest."""

import json
import zipfile
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db import connections, transaction
from django.db.migrations.loader import MigrationLoader
from psycopg import sql

from server.exports.streams import begin_snapshot, gathered
from server.farm_archive.tables import ArchivedTable, archived, columns_of_people, surroundings
from server.farm_archive.zipped import Member, Sink, written

FORMAT, PEOPLE, MANIFEST = 1, "people.ndjson", "manifest.json"
FLOORS = ("farms", "monitoring", "alerts")
# In JSON no control character stands as itself, so with these for quote and delimiter every line comes as it is.
COPY = "COPY ({}) TO STDOUT (FORMAT csv, QUOTE E'\\x01', DELIMITER E'\\x02')"
PLACE = "SELECT id AS farm_id, group_id, region_id, holding_id FROM farms_farm WHERE id = %s"
# Only of people whose acts the farm's own pages show: of whoever set the group's levels the id alone is told.
NAMED = """
SELECT row_to_json(j)::text FROM (
    SELECT u.id, CASE WHEN u.id = ANY({near}) THEN u.name ELSE '' END AS name
    FROM farms_user u WHERE u.id = ANY({all}) ORDER BY u.id) j
"""


def archive_of(farm_id: UUID, *, now: datetime, using: str = "default") -> Iterator[bytes]:
    """The archive in pieces, read by whoever `using` acts for; within the caller's transaction."""
    sink, told = Sink(), []
    with zipfile.ZipFile(sink, "w") as file:  # type: ignore[arg-type]
        for member in _members(farm_id, now, using):
            yield from written(file, sink, member, told)
        manifest = json.dumps(_manifest(farm_id, now, told), indent=1, sort_keys=True).encode()
        yield from written(file, sink, Member(MANIFEST, [manifest]), [])
    yield from sink.taken()


def _manifest(farm_id: UUID, now: datetime, told: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "about": "Everything of one farm, as docs/farm-archive.md of Flyround describes it.",
        "version": settings.CODE_VERSION,
        "schema": schema(),
        "farm": str(farm_id),
        "made_at": now.astimezone(UTC).isoformat(timespec="microseconds"),
        "members": told,
    }


def schema() -> dict[str, str]:
    """The newest migration of each floor: archives are loaded by the version that has the same."""
    loader = MigrationLoader(None, ignore_no_migrations=True)
    return {app: max(name for label, name in loader.disk_migrations if label == app) for app in FLOORS}


def _members(farm_id: UUID, now: datetime, using: str) -> Iterator[Member]:
    values = _place(farm_id, using) | {"made_at": now}
    for table in surroundings():
        # A group, region or holding is found by its own id.
        own = values | {"id": values.get(f"{table.name.removeprefix('farms_')}_id", "")}
        yield Member(table.member, _copied(table.rows(own), using), has_rows=True)
    tables = archived()
    yield Member(PEOPLE, _copied(_people(values, using), using), has_rows=True)
    for table in tables:
        yield Member(table.member, _copied(table.rows(values | {"id": farm_id}), using), has_rows=True)
    for table in tables:
        yield from _files(table, farm_id, using)


def _place(farm_id: UUID, using: str) -> dict[str, Any]:
    with connections[using].cursor() as cursor:
        cursor.execute(PLACE, [farm_id])
        [row] = cursor.fetchall()
        return dict(zip([column.name for column in cursor.description], row, strict=True))


def _copied(query: sql.Composable, using: str) -> Iterator[bytes]:
    with connections[using].cursor() as cursor, cursor.copy(sql.SQL(COPY).format(query)) as lines:
        yield from gathered(lines)


def _people(values: dict[str, Any], using: str) -> sql.Composable:
    """The accounts that rows of the archive name; who merely has an account isn't among them."""
    near = _named_in(archived(), values, using)
    every = near | _named_in(surroundings(), values, using)
    return sql.SQL(NAMED).format(near=_array(near), all=_array(every))


def _array(ids: set[UUID]) -> sql.Composable:
    return sql.SQL("{}::uuid[]").format(sql.Literal(sorted(ids)))


def _named_in(tables: list[ArchivedTable], values: dict[str, Any], using: str) -> set[UUID]:
    asked = [
        sql.SQL("SELECT {} FROM {} WHERE {} = {}").format(
            sql.Identifier(column),
            sql.Identifier(table.name),
            sql.Identifier(table.whose),
            sql.Literal(values[table.whose]),
        )
        for table in tables
        if table.whose != "id"
        for column in columns_of_people(table.model)
    ]
    with connections[using].cursor() as cursor:
        cursor.execute(sql.SQL(" UNION ").join(asked))
        return {found for (found,) in cursor.fetchall() if found}


def _files(table: ArchivedTable, farm_id: UUID, using: str) -> Iterator[Member]:
    """Pictures and scans, one at a time."""
    for column in (each.name for each in table.columns if each.is_file):
        names = {"table": sql.Identifier(table.name), "column": sql.Identifier(column)}
        with connections[using].cursor() as cursor:
            ids = sql.SQL("SELECT id FROM {table} WHERE farm_id = %s AND {column} IS NOT NULL ORDER BY id").format(
                **names
            )
            cursor.execute(ids, [farm_id])
            found = [row_id for (row_id,) in cursor.fetchall()]
        for row_id in found:
            with connections[using].cursor() as cursor:
                one = sql.SQL("SELECT {column} FROM {table} WHERE farm_id = %s AND id = %s").format(**names)
                cursor.execute(one, [farm_id, row_id])
                [(content,)] = cursor.fetchall()
            yield Member(table.file_name(row_id, column), [bytes(content)])


def made_in_one_snapshot(farm_id: UUID, *, now: datetime, using: str) -> Iterator[bytes]:
    """For whoever reads past row security (the backup's role): in a transaction of its own."""
    with transaction.atomic(using=using):
        begin_snapshot(using)
        yield from archive_of(farm_id, now=now, using=using)
