"""What a database holds, small enough to be compared: rows and a digest of every table, heads of chains, rights."""

import hashlib
import json
import re
from typing import Any

import psycopg
from psycopg import sql

TABLES = """
SELECT relname::text FROM pg_class WHERE relnamespace = 'public'::regnamespace
   AND relkind IN ('r', 'p') AND NOT relispartition ORDER BY relname
"""
# A sum doesn't ask for an order, so a table is read once and nothing is sorted.
DIGEST = """
SELECT count(*), coalesce(sum(substring(sha256(convert_to(t::text, 'UTF8')) FOR 8)::bigint::numeric), 0)::text
  FROM {table} t
"""
HEADS = "SELECT farm_id::text, number, encode(hash, 'hex') FROM farms_ledgerhead ORDER BY farm_id"
MIGRATIONS = "SELECT app::text, name::text FROM django_migrations ORDER BY app, name"
# Partitions too: that nobody has a right on them is half of the second wall. Their keys and indexes are their parent's.
RIGHTS = {
    "owners and row security": """
        SELECT c.relname::text, c.relkind::text, c.relrowsecurity, c.relforcerowsecurity,
               pg_get_userbyid(c.relowner)::text
          FROM pg_class c WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p', 'S', 'v')""",
    "rights on tables": """
        SELECT c.relname::text, pg_get_userbyid(x.grantee)::text, x.privilege_type::text, x.is_grantable
          FROM pg_class c CROSS JOIN LATERAL aclexplode(coalesce(c.relacl,
               acldefault(CASE c.relkind WHEN 'S' THEN 's' ELSE 'r' END::"char", c.relowner))) x
         WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p', 'S', 'v')""",
    "rights on columns": """
        SELECT c.relname::text, a.attname::text, pg_get_userbyid(x.grantee)::text, x.privilege_type::text
          FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid CROSS JOIN LATERAL aclexplode(a.attacl) x
         WHERE c.relnamespace = 'public'::regnamespace""",
    "policies": """
        SELECT tablename::text, policyname::text, permissive, roles::text, cmd, qual, with_check FROM pg_policies
         WHERE schemaname = 'public'""",
    "functions": """
        SELECT p.oid::regprocedure::text, pg_get_userbyid(p.proowner)::text, p.prosecdef, p.proconfig::text, p.prosrc,
               pg_get_userbyid(x.grantee)::text
          FROM pg_proc p CROSS JOIN LATERAL aclexplode(coalesce(p.proacl, acldefault('f', p.proowner))) x
         WHERE p.pronamespace = 'public'::regnamespace""",
    "keys and checks": """
        SELECT k.conrelid::regclass::text, k.conname::text, pg_get_constraintdef(k.oid), k.convalidated
          FROM pg_constraint k JOIN pg_class c ON c.oid = k.conrelid
         WHERE k.connamespace = 'public'::regnamespace AND NOT c.relispartition AND k.conparentid = 0""",
    "indexes": """
        SELECT i.indexrelid::regclass::text, pg_get_indexdef(i.indexrelid), i.indisvalid
          FROM pg_index i JOIN pg_class c ON c.oid = i.indrelid
         WHERE c.relnamespace = 'public'::regnamespace AND NOT c.relispartition""",
}
# PostgreSQL writes one condition in two ways, before and after a dump: these are where they differ.
CASTS = re.compile(r"::[a-z_]+(?: [a-z_]+)*(?:\[\])?|[() ]")


def contents_of(connection: psycopg.Connection[Any]) -> dict[str, Any]:
    """The parts of a manifest that a restore must find again, as plain JSON; {} of a database without our tables."""
    tables = [name for (name,) in connection.execute(TABLES).fetchall()]
    if "django_migrations" not in tables or "farms_ledgerhead" not in tables:
        return {}
    return {
        "migrations": [list(row) for row in connection.execute(MIGRATIONS).fetchall()],
        "tables": {name: _digest(connection, name) for name in tables},
        "heads": {farm: [number, digest] for farm, number, digest in connection.execute(HEADS).fetchall()},
        "rights": rights_of(connection),
    }


def _digest(connection: psycopg.Connection[Any], table: str) -> dict[str, Any]:
    row = connection.execute(sql.SQL(DIGEST).format(table=sql.Identifier(table))).fetchone()
    assert row  # noqa: S101 - an aggregate has one row
    return {"rows": row[0], "digest": row[1]}


def rights_of(connection: psycopg.Connection[Any]) -> dict[str, str]:
    """SHA-256 over owners, grants, policies, functions, keys and indexes: whatever guards the rows."""
    return {
        kind: _sha256(
            sorted(CASTS.sub("", json.dumps(row, default=str)) for row in connection.execute(query).fetchall())
        )
        for kind, query in RIGHTS.items()
    }


def _sha256(lines: list[str]) -> str:
    return hashlib.sha256("\n".join(lines).encode()).hexdigest()


def differences(expected: dict[str, Any], found: dict[str, Any]) -> list[str]:
    """What is not as it should be, in words for whoever restores."""
    told = []
    for name in sorted({*expected["tables"], *found.get("tables", {})}):
        wanted, there = expected["tables"].get(name), found.get("tables", {}).get(name)
        if wanted != there:
            told.append(f"{name} has {_rows(there)}, and the backup has {_rows(wanted)}")
    there = found.get("rights", {})
    told += [f"the {kind} differ" for kind, digest in expected["rights"].items() if digest != there.get(kind)]
    for part, word in (("heads", "heads of the chains"), ("migrations", "migrations")):
        if expected[part] != found.get(part):
            told.append(f"the {word} differ")
    return told


def _rows(table: dict[str, Any] | None) -> str:
    return f"{table['rows']} rows of digest {table['digest']}" if table else "no such table"
