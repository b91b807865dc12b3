"""Storing a table's rows: COPY into a temporary table, then one INSERT a table.

COPY into the tables themselves is refused under row security, which holds for the INSERTs. What says the same in every
row isn't copied; it stands in the INSERT.
"""

from django.db import connection

from monitoring.models import Round
from monitoring.services.table.rows import NULL, PLACEMENT_TABLE, READING_TABLE, Rows, each

ARRIVING = "pg_temp.arriving"
FRESH = "fresh"
# The types that COPY reads the columns as.
TYPES = {
    **dict.fromkeys(("id", "round_id", "station_id", "placement_id", "farm_id", "corrects_id"), "uuid"),
    **dict.fromkeys(("hung_on", "taken_on"), "date"),
    **dict.fromkeys(("at_least", "bunching", "sprayed", FRESH), "boolean"),
    **dict.fromkeys(("count", "sides"), "integer"),
    "fraction": "numeric(5,4)",
    "animals": "integer[]",
    "time_of_day": "time",
    "received_at": "timestamptz",
    "entry": "bigint",
}
PLACEMENT_COLUMNS = {
    "id": "placement_id", "farm_id": "farm_id", "station_id": "station_id", "hung_on": "hung_on", "zone": "zone",
    "entry": "entry",
}  # fmt: skip


def insert_arrived(rows: Rows, rounds: list[Round]) -> None:
    """Insert rounds, placements and readings, in the order of their keys."""
    Round.objects.bulk_create(rounds)
    with connection.cursor() as cursor:
        if any(rows.fresh):
            cursor.execute(
                *_insert(PLACEMENT_TABLE, PLACEMENT_COLUMNS, rows, "" if all(rows.fresh) else f"WHERE {FRESH}")
            )
        cursor.execute(*_insert(READING_TABLE, {name: name for name in rows.copied}, rows))


def arrive(rows: Rows) -> None:
    """Send what varies into a temporary table, which is gone with the transaction."""
    forms: dict[str, str | list[str]] = {**rows.copied}
    if not all(rows.fresh):
        forms[FRESH] = ["t" if fresh else "f" for fresh in rows.fresh]
    names = [name for name, form in forms.items() if isinstance(form, list)]
    columns = ", ".join(f'"{name}" {TYPES.get(name, "text")}' for name in names)
    lines = "\n".join(map("\t".join, each(forms, names, rows.number)))
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TABLE IF EXISTS {ARRIVING}")
        cursor.execute(f"CREATE TABLE {ARRIVING} ({columns}) ON COMMIT DROP")
        with cursor.copy(f"COPY {ARRIVING} FROM STDIN") as copy:
            copy.write(f"{lines}\n".encode())


def _insert(table: str, columns: dict[str, str], rows: Rows, where: str = "") -> tuple[str, list[str | None]]:
    """INSERT of these columns, `columns` naming where each comes from: what varies lies in the temporary table."""
    given, values = [], []
    for source in columns.values():
        form = rows.copied[source]
        given.append(f'"{source}"' if isinstance(form, list) else f"%s::{TYPES.get(source, 'text')}")
        values += [] if isinstance(form, list) else [None if form == NULL else form]
    wanted = ", ".join(f'"{name}"' for name in columns)
    sql = f'INSERT INTO "{table}" ({wanted}) SELECT {", ".join(given)} FROM {ARRIVING} {where}'  # noqa: S608 - our names
    return sql, values
