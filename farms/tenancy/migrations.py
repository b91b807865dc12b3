"""Migration operations: composite foreign keys, hash partitions, forced row security and grants.

The roles themselves are made by the launcher (server/roles.sql), never here. Each operation has a reverse.
"""

from collections.abc import Mapping
from typing import Any

from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations.base import Operation

ROLES = {
    name: f"flyround_{name}" for name in ("owner", "app", "worker", "cohort", "region", "eraser", "backup", "definer")
}
VISIBLE = "{column} = ANY((SELECT visible_farms())::uuid[])"
WRITABLE = "{column} = ANY((SELECT writable_farms())::uuid[])"
NAMED = "{column} = (SELECT NULLIF(current_setting('app.farm_id', true), '')::uuid)"
EVERY = "true"

# What each role's policy lets through, where the table's grants name the role at all.
READS = {"app": VISIBLE, "worker": EVERY, "cohort": "{column} = ANY((SELECT cohort_farms())::uuid[])"}
READS |= {"eraser": NAMED, "definer": EVERY}
WRITES = {"app": WRITABLE, "worker": EVERY, "eraser": NAMED, "definer": EVERY}


class TenancyOperation(Operation):
    """SQL on one model's table, forwards and backwards; changes nothing in Django's state."""

    reduces_to_sql = True
    reversible = True

    def __init__(self, model: str) -> None:
        self.model = model

    def state_forwards(self, app_label: str, state: Any) -> None:
        return

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        _run(schema_editor, self.forwards(to_state, app_label))

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        # Going back, the model still stands in the state that is left behind.
        _run(schema_editor, self.backwards(from_state, app_label))

    def table(self, state: Any, app_label: str, model: str | None = None) -> str:
        """The table of `model`, given as "name" or "app.name"; a plain table name of a library stays as it is."""
        label, _, name = (model or self.model).rpartition(".")
        found: str = state.apps.get_model(label or app_label, name)._meta.db_table
        return found

    def forwards(self, state: Any, app_label: str) -> list[str]:
        raise NotImplementedError

    def backwards(self, state: Any, app_label: str) -> list[str]:
        raise NotImplementedError


class TieToFarm(TenancyOperation):
    """Add composite foreign keys (farm_id, column) -> (farm_id, id), and hash partitions where asked.

    `references` maps a column to the model it names. Partitions come in the migration that creates the table, after
    the model and before its unique constraints, since an empty table is made anew.
    """

    def __init__(self, model: str, references: Mapping[str, str], partitions: int = 0) -> None:
        super().__init__(model)
        self.references = dict(references)
        self.partitions = partitions

    def describe(self) -> str:
        return f"Tie {self.model} to its farm"

    def forwards(self, state: Any, app_label: str) -> list[str]:
        table = self.table(state, app_label)
        made = _partition(table, self._key(state, app_label), self.partitions) if self.partitions else []
        return made + [
            f'ALTER TABLE "{table}" ADD CONSTRAINT "{table}_{column}_in_farm" FOREIGN KEY (farm_id, {column})'
            f' REFERENCES "{self.table(state, app_label, target)}" (farm_id, id) NOT DEFERRABLE'
            for column, target in self.references.items()
        ]

    def backwards(self, state: Any, app_label: str) -> list[str]:
        table = self.table(state, app_label)
        return [f'ALTER TABLE "{table}" DROP CONSTRAINT "{table}_{column}_in_farm"' for column in self.references]

    def _key(self, state: Any, app_label: str) -> str:
        model = state.apps.get_model(app_label, self.model)
        return ", ".join(field.column for field in model._meta.pk_fields)


class ForceRowSecurity(TenancyOperation):
    """Force row security on a table and give each role its rights and its policies, in one place.

    `rights` maps a role to its verbs, e.g. {"app": "SELECT, INSERT", "worker": "SELECT"}. A verb without a policy
    shows and changes nothing: it fails closed. `column` holds the farm's id; `reads` and `writes` replace a role's
    usual condition.
    """

    def __init__(
        self,
        model: str,
        rights: Mapping[str, str],
        column: str = "farm_id",
        reads: Mapping[str, str] | None = None,
        writes: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(model)
        self.rights = dict(rights)
        self.column = column
        self.reads = dict(reads or {})
        self.writes = dict(writes or {})

    def describe(self) -> str:
        return f"Force row security on {self.model}"

    def forwards(self, state: Any, app_label: str) -> list[str]:
        table = self.table(state, app_label)
        statements = [
            f'ALTER TABLE "{table}" ENABLE ROW LEVEL SECURITY',
            f'ALTER TABLE "{table}" FORCE ROW LEVEL SECURITY',
            f'REVOKE ALL ON "{table}" FROM PUBLIC',
        ]
        for role, verbs in self.rights.items():
            statements.append(f'GRANT {verbs} ON "{table}" TO {ROLES[role]}')
            statements += [self._policy(table, role, verb) for verb in _plain_verbs(verbs)]
        return statements

    def backwards(self, state: Any, app_label: str) -> list[str]:
        table = self.table(state, app_label)
        drops = [
            f'DROP POLICY "{role}_{verb.lower()}" ON "{table}"'
            for role, verbs in self.rights.items()
            for verb in _plain_verbs(verbs)
        ]
        return [*drops, f'ALTER TABLE "{table}" NO FORCE ROW LEVEL SECURITY, DISABLE ROW LEVEL SECURITY']

    def _policy(self, table: str, role: str, verb: str) -> str:
        read = self.reads.get(role, READS.get(role, "false"))
        write = self.writes.get(role, WRITES.get(role, "false"))
        condition = (read if verb == "SELECT" else write).format(column=self.column)
        clause = {
            "SELECT": f"USING ({condition})",
            "INSERT": f"WITH CHECK ({condition})",
            "UPDATE": f"USING ({condition}) WITH CHECK ({condition})",
            "DELETE": f"USING ({condition})",
        }[verb]
        return f'CREATE POLICY "{role}_{verb.lower()}" ON "{table}" FOR {verb} TO {ROLES[role]} {clause}'


class MoreRights(ForceRowSecurity):
    """Give roles further rights and policies on a table that forces row security; going back takes them away."""

    def describe(self) -> str:
        return f"Give further rights on {self.model}"

    def forwards(self, state: Any, app_label: str) -> list[str]:
        return super().forwards(state, app_label)[3:]

    def backwards(self, state: Any, app_label: str) -> list[str]:
        table = self.table(state, app_label)
        revokes = [f'REVOKE {verbs} ON "{table}" FROM {ROLES[role]}' for role, verbs in self.rights.items()]
        return [*super().backwards(state, app_label)[:-1], *revokes]


class DefinerFunctions(Operation):
    """Create the definer functions of an SQL text: owned by the definer role, for the named roles and nobody else.

    `signatures` maps a function's signature, as in "visible_farms()", to the roles that may execute it.
    """

    reduces_to_sql = True
    reversible = True

    def __init__(self, sql: str, signatures: Mapping[str, list[str]]) -> None:
        self.sql = sql
        self.signatures = dict(signatures)

    def describe(self) -> str:
        return "Create the definer functions"

    def state_forwards(self, app_label: str, state: Any) -> None:
        return

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        _run(schema_editor, [self.sql])
        for signature, roles in self.signatures.items():
            grants = [f"GRANT EXECUTE ON FUNCTION {signature} TO {ROLES[role]}" for role in roles]
            revoke = f"REVOKE ALL ON FUNCTION {signature} FROM PUBLIC"
            # Given away last: after that the owner may no longer grant on it.
            _run(schema_editor, [revoke, *grants, f"ALTER FUNCTION {signature} OWNER TO {ROLES['definer']}"])

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        drops = [f"DROP FUNCTION {signature}" for signature in reversed(self.signatures)]
        _run(schema_editor, [f"SET ROLE {ROLES['definer']}", *drops, "RESET ROLE"])


class Grant(Operation):
    """Give roles their rights on tables that hold no farm's data (groups, sessions, a library's tables)."""

    reduces_to_sql = True
    reversible = True

    def __init__(self, tables: list[str], rights: Mapping[str, str]) -> None:
        self.tables = tables
        self.rights = dict(rights)

    def describe(self) -> str:
        return f"Grant rights on {', '.join(self.tables)}"

    def state_forwards(self, app_label: str, state: Any) -> None:
        return

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        _run(schema_editor, [self._sentence("GRANT", verbs, "TO", role) for role, verbs in self.rights.items()])

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        _run(schema_editor, [self._sentence("REVOKE", verbs, "FROM", role) for role, verbs in self.rights.items()])

    def _sentence(self, word: str, verbs: str, preposition: str, role: str) -> str:
        names = ", ".join(f'"{table}"' for table in self.tables)
        return f"{word} {verbs} ON {names} {preposition} {ROLES[role]}"


def _plain_verbs(verbs: str) -> list[str]:
    """The verbs of a grant without its column lists: "SELECT, UPDATE (ended_at)" gives SELECT and UPDATE."""
    return [verb for verb in ("SELECT", "INSERT", "UPDATE", "DELETE") if verb in verbs]


def _partition(table: str, key: str, partitions: int) -> list[str]:
    plain = f"{table}_plain"
    return [
        f'ALTER TABLE "{table}" RENAME TO "{plain}"',
        f'CREATE TABLE "{table}" (LIKE "{plain}" INCLUDING DEFAULTS INCLUDING CONSTRAINTS) PARTITION BY HASH (farm_id)',
        f'DROP TABLE "{plain}"',
        f'ALTER TABLE "{table}" ADD PRIMARY KEY ({key})',
        *(
            f'CREATE TABLE "{table}_{part}" PARTITION OF "{table}"'
            f" FOR VALUES WITH (MODULUS {partitions}, REMAINDER {part})"
            for part in range(partitions)
        ),
        # The parent's policies don't guard a partition that is named directly: no role but the owner may touch one.
        *(f'REVOKE ALL ON "{table}_{part}" FROM PUBLIC' for part in range(partitions)),
    ]


def _run(schema_editor: BaseDatabaseSchemaEditor, statements: list[str]) -> None:
    for statement in statements:
        schema_editor.execute(statement)
