"""docs/farm-archive.md, made from the models: `manage.py archive_farm --describe` prints it, a test holds it."""

from collections.abc import Iterator

from server.farm_archive.tables import LEFT_OUT, ArchivedTable, archived, surroundings

BEGINNING = """\
# A farm's archive

Everything that is kept of one farm, in one file: for its owner to keep, and to load it where the farm is to be from
now on. An owner takes it on the farm's page "Data to take along" or at
`/api/v1/farms/<farm>/exports/farm-archive.zip`, which the farm's log notes; whoever runs the installation by a
command:

```sh
python3 manage.py archive_farm 0190a1b2-7c3d-7e4f-8a5b-6c7d8e9f0a1b northfield.zip
python3 manage.py load_farm northfield.zip --owner owner@example.org
```

`load_farm` loads all of it or nothing, in one transaction, as the role that owns the tables (`DATABASE_URL_OWNER`);
pages that ask for these tables wait for those seconds. It refuses an archive that is cut, changed or packed
otherwise, that holds another farm's row or one that breaks a rule of the tables, whose chain doesn't hold, whose farm
is here already, and one of another version: of a newer one, upgrade first; of an older one, load it into an empty
installation of that version, upgrade that, and make the archive there anew. A chain that holds shows that nothing was
changed since; who wrote an archive it doesn't show, so load none from a stranger.

**What comes next** `load_farm` says itself. Group, region and holding keep their ids; where the group is new, it
comes with its levels, rules and terms and without people. Accounts that rows name stand under their ids and names,
without address, and can't sign in. Consents don't come along: a yes was given to other people, in another place. The
owner agrees anew.

## The file

A ZIP whose members are stored and not packed, in one order, with one date. Two archives of the same rows are the same
bytes but for `made_at` in the manifest, on every machine; a farm that was loaded elsewhere leaves there with the same
bytes.

- `manifest.json`, the last member: `format` (1), `version` and `schema` (the newest migration of each part), `farm`,
  `made_at`, and of each member its name, bytes, SHA-256 and, of tables, its rows.
- `surroundings/*.ndjson`: the group, region and holding, the group's terms, rules for visits, action levels and
  rules.
- `people.ndjson`: `id` and `name` of each account that a row names; the name is empty where only the group's rows
  name it.
- `tables/*.ndjson`: a JSON object a line (UTF-8), in the order of the keys, columns by name.
- `files/<table>/<id>.<column>`: pictures (JPEG, PNG), scans (PDF, JPEG, PNG); the row holds this name.

Kinds: `id` a UUID; `moment` UTC with microseconds and Z; `day` YYYY-MM-DD; `clock` HH:MM:SS; `bytes` hexadecimal
after `\\\\x`; `file` the name of a member; `list` an array. Missing is null, never zero. What `farms_ledgerentry` and
`farms_ledgerhead` say, and how a link is made, stands in `farms/ledger.py`.

## What is left out

| table | why |
|---|---|
"""


def document() -> str:
    return BEGINNING.replace("\\\\x", "\\x") + "".join(_left_out()) + "".join(_described())


def _left_out() -> Iterator[str]:
    for name, reason in sorted(LEFT_OUT.items()):
        yield f"| `{name}` | {reason} |\n"


def _described() -> Iterator[str]:
    for title, tables in (("Surroundings", surroundings()), ("Tables", archived())):
        yield f"\n## {title}\n"
        for table in tables:
            yield f"\n### {table.name}\n\n{_first_words(table)}\n\n| column | kind | null |\n|---|---|---|\n"
            for column in table.columns:
                yield f"| `{column.name}` | {column.kind} | {'yes' if column.is_null else ''} |\n"


def _first_words(table: ArchivedTable) -> str:
    """What the model says of itself, its first paragraph; of a model that says nothing, its name."""
    said = (table.model.__doc__ or "").partition("\n\n")[0]
    return " ".join(said.split()) if not said.startswith(f"{table.model.__name__}(") else f"{table.model.__name__}."
