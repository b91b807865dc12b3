"""Loading a farm's archive into an installation that doesn't have the farm: all of it or nothing, as the owner's role.

The owner is kept out by forced row security like everybody, so its tables are opened and closed again in this one
transaction; whoever asks them meanwhile waits.
"""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from uuid import UUID

from django.contrib.auth import get_user_model
from django.db import DataError, IntegrityError, OperationalError, connections, transaction
from psycopg import sql

from farms.ledger import verify_links
from farms.models import Farm, Group, Holding, Region
from server.farm_archive.errors import ArchiveRefused
from server.farm_archive.making import PEOPLE
from server.farm_archive.reading import AGAIN, Brought, brought
from server.farm_archive.tables import FARM, ArchivedTable, archived, in_order_of_loading, surroundings

OWNER = "owner"
# RFC 6761: nobody has such an address, and no mail is written to it.
PLACEHOLDER = "{}@imported.invalid"
FORCE = "ALTER TABLE {} {} ROW LEVEL SECURITY"


@dataclass(frozen=True)
class Loaded:
    """What came in: the farm, whether its group is new here, rows, and people who stand for others."""

    farm: Farm
    group_is_new: bool
    rows: int
    people: int


def load(path: Path) -> Loaded:
    """Load an archive. Raises ArchiveRefused, and then nothing was stored."""
    with brought(path) as archive, told_where_busy(), transaction.atomic(using=OWNER), _opened_tables():
        return _loaded(archive)


@contextmanager
def told_where_busy() -> Iterator[None]:
    """Whoever had to wait too long for a table is told to try again. Raises ArchiveRefused."""
    try:
        yield
    except OperationalError as error:
        if "lock timeout" not in str(error):
            raise
        raise ArchiveRefused("The service is busy with these tables: try again, or stop it meanwhile.") from error


@contextmanager
def _opened_tables() -> Iterator[None]:
    with _opened([table.name for table in archived()]):
        yield


@contextmanager
def opened_for_a_membership() -> Iterator[None]:
    """So that the farm's first owner here can be named, whom nobody could invite."""
    with _opened(["farms_membership"]):
        yield


@contextmanager
def _opened(names: list[str]) -> Iterator[None]:
    with connections[OWNER].cursor() as cursor:
        cursor.execute("SET LOCAL lock_timeout = '20s'")
        for name in names:
            cursor.execute(sql.SQL(FORCE).format(sql.Identifier(name), sql.SQL("NO FORCE")))
        yield
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for name in names:
            cursor.execute(sql.SQL(FORCE).format(sql.Identifier(name), sql.SQL("FORCE")))


def _loaded(archive: Brought) -> Loaded:
    tables = {table.name: table for table in archived()}
    if Farm.objects.using(OWNER).filter(id=archive.farm_id).exists():
        raise ArchiveRefused("This farm is here already, and nothing was changed: an archive is loaded where it isn't.")
    place = _only_row(archive, tables[FARM])
    if place["id"] != str(archive.farm_id):
        raise ArchiveRefused(f"The archive's farm is another one than its manifest says. {AGAIN}")
    people = _people(archive)
    with _told_by_the_database():
        group_is_new = _surroundings(archive, place)
        rows = _insert(archive, tables[FARM])
        for table in in_order_of_loading(list(tables.values())):
            rows += _insert(archive, table)
        # Foreign keys that wait for the commit are asked now; none may wait when row security is forced again.
        with connections[OWNER].cursor() as cursor:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
    if faults := verify_links(archive.farm_id, using=OWNER):
        raise ArchiveRefused(f"The farm's chain doesn't hold: entry {faults[0].number} {faults[0].why}. {AGAIN}")
    return Loaded(Farm.objects.using(OWNER).get(id=archive.farm_id), group_is_new, rows, people)


@contextmanager
def _told_by_the_database() -> Iterator[None]:
    """A row that breaks a rule breaks it here as everywhere."""
    try:
        yield
    except (DataError, IntegrityError) as error:
        reason = str(error).strip().splitlines()[0]
        raise ArchiveRefused(f"The archive holds a row that can't be: {reason}. {AGAIN}") from error


def _only_row(archive: Brought, table: ArchivedTable) -> dict[str, Any]:
    rows = [row for row, _line in archive.rows(table)]
    if len(rows) != 1:
        raise ArchiveRefused(f"{table.member} has {len(rows)} rows, and must have one. {AGAIN}")
    return rows[0]


def _people(archive: Brought) -> int:
    """Somebody to stand for everybody whom the rows name and this installation doesn't know; none can sign in."""
    accounts = get_user_model()
    try:
        named = {UUID(row["id"]): str(row["name"])[:120] for row in map(json.loads, archive.lines(PEOPLE))}
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise ArchiveRefused(f"{PEOPLE} has a line that names nobody. {AGAIN}") from error
    known = set(accounts.objects.using(OWNER).filter(id__in=named).values_list("id", flat=True))
    for person_id in sorted(set(named) - known):
        person = accounts(id=person_id, email=PLACEHOLDER.format(person_id.hex), name=named[person_id], is_active=False)
        person.set_unusable_password()
        person.save(using=OWNER, force_insert=True)
    return len(set(named) - known)


def _surroundings(archive: Brought, place: dict[str, Any]) -> bool:
    """Group, region and holding by their own ids; whether the group is new. One that is here is left as it is."""
    tables = {table.name: table for table in surroundings()}
    group, region, holding = (
        _only_row(archive, tables[name]) for name in ("farms_group", "farms_region", "farms_holding")
    )
    ids = (group["id"], region["id"], holding["id"])
    if ids != (place["group_id"], place["region_id"], place["holding_id"]):
        raise ArchiveRefused(f"The archive's group, region or holding isn't its farm's. {AGAIN}")
    is_new = not Group.objects.using(OWNER).filter(id=group["id"]).exists()
    if is_new:
        Group.objects.using(OWNER).create(slug=f"loaded-{UUID(group['id']).hex}", **group)
    for model, row, more in ((Region, region, {"slug": f"loaded-{UUID(region['id']).hex}"}), (Holding, holding, {})):
        known = model.objects.using(OWNER).filter(id=row["id"]).first()
        if row["group_id"] != group["id"] or (known and str(known.group_id) != group["id"]):
            raise ArchiveRefused(f"The archive's region or holding belongs to another group. {AGAIN}")
        if known is None:
            model.objects.using(OWNER).create(**row, **more)
    for table in list(tables.values())[3:]:
        if any(row["group_id"] != group["id"] for row, _line in archive.rows(table)):
            raise ArchiveRefused(f"{table.member} has a row of another group. {AGAIN}")
        if is_new:
            _insert(archive, table)
    return is_new


def _insert(archive: Brought, table: ArchivedTable) -> int:
    """A table's rows in one statement, since rows may lead to each other."""
    names = [column.name for column in table.columns]
    files = [column.name for column in table.columns if column.is_file]
    values = [
        sql.SQL("f.{}").format(sql.Identifier(name)) if name in files else sql.SQL("r.{}").format(sql.Identifier(name))
        for name in names
    ]
    with connections[OWNER].cursor() as cursor:
        _bring(cursor, archive, table, files)
        cursor.execute(
            sql.SQL(
                "INSERT INTO {table} ({names}) SELECT {values} FROM brought f,"
                " LATERAL json_populate_record(NULL::{table}, f.line) r"
            ).format(
                table=sql.Identifier(table.name), names=sql.SQL(", ").join(map(sql.Identifier, names)),
                values=sql.SQL(", ").join(values),
            )
        )  # fmt: skip
        return int(cursor.rowcount)


def _bring(cursor: Any, archive: Brought, table: ArchivedTable, files: list[str]) -> None:
    """The lines, and beside each the files that it names, in a table of this transaction."""
    cursor.execute("DROP TABLE IF EXISTS brought")
    columns = [sql.SQL("{} bytea").format(sql.Identifier(name)) for name in files]
    cursor.execute(
        sql.SQL("CREATE TEMPORARY TABLE brought ({}) ON COMMIT DROP").format(
            sql.SQL(", ").join([sql.SQL("line json"), *columns])
        )
    )
    with cursor.copy("COPY brought FROM STDIN") as lines:
        for row, line in archive.rows(table):
            held = [None if row[name] is None else _file_of(archive, table, row, name) for name in files]
            lines.write_row((line, *held))


def _file_of(archive: Brought, table: ArchivedTable, row: dict[str, Any], column: str) -> bytes:
    name = table.file_name(row["id"], column)
    if row[column] != name:
        raise ArchiveRefused(f"{table.member} has a row whose file isn't its own. {AGAIN}")
    return archive.content(name)
