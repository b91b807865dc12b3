"""As whom a backup reads and a restore writes, for psycopg and for PostgreSQL's own programs alike."""

from dataclasses import dataclass, field, replace
from typing import Any

import psycopg
from django.conf import settings
from django.db import connections
from psycopg.conninfo import conninfo_to_dict

from server import embedded
from server.backup.errors import BackupError

# Rows as text are the same everywhere only where these are.
SAME_TEXT = {
    "TimeZone": "UTC",
    "DateStyle": "ISO, MDY",
    "IntervalStyle": "postgres",
    "bytea_output": "hex",
    "extra_float_digits": "1",
}


@dataclass(frozen=True)
class Login:
    """One role's way into one database; `parameters` are libpq's, by its names."""

    parameters: dict[str, str] = field(repr=False)

    @property
    def database(self) -> str:
        return self.parameters["dbname"]

    def to(self, database: str) -> "Login":
        return replace(self, parameters={**self.parameters, "dbname": database})

    def connect(self, *, autocommit: bool = True) -> psycopg.Connection[Any]:
        """A connection in which rows have the same text on every server. Raises BackupError with the reason."""
        options = " ".join(f"-c {name}={value.replace(' ', chr(92) + ' ')}" for name, value in SAME_TEXT.items())
        try:
            return psycopg.connect(**{**self.parameters, "options": options}, autocommit=autocommit)  # type: ignore[arg-type]
        except psycopg.OperationalError as error:
            reason = str(error).strip().splitlines()[-1].rstrip(".")
            raise BackupError(f"The database {self.database} does not let us in: {reason}.") from error

    def environment(self) -> dict[str, str]:
        """For pg_dump and pg_restore: a password on their command line could be read by everybody on the machine."""
        named = {_variable(name): value for name, value in self.parameters.items()}
        return {**named, "PATH": "/usr/bin:/bin", "LANG": "C", "PGCONNECT_TIMEOUT": "10"}


def _variable(parameter: str) -> str:
    return {"dbname": "PGDATABASE"}.get(parameter, f"PG{parameter.upper()}")


def backup_login() -> Login:
    """The role that reads everything and writes nothing: forced row security stops the owner's dump."""
    if "backup" not in settings.DATABASES:
        raise BackupError("Set DATABASE_URL_BACKUP to the login of flyround_backup: no other role may read everything.")
    stored = connections["backup"].settings_dict
    given = {"dbname": stored["NAME"], "user": stored["USER"], "password": stored["PASSWORD"]}
    given |= {"host": stored["HOST"], "port": stored["PORT"]}
    given |= {name: value for name, value in stored["OPTIONS"].items() if isinstance(value, str)}
    return Login({name: str(value) for name, value in given.items() if value})


def superuser_login() -> Login:
    """Whoever may make databases and give tables to their owners: the embedded servers', or DATABASE_URL_SUPERUSER."""
    running = embedded.current()
    url = settings.SUPERUSER_URL or (running.database_url("postgres") if running else "")
    if not url:
        raise BackupError(
            "Set DATABASE_URL_SUPERUSER to a superuser's login, with the name of the database that is to be restored: "
            "making databases and giving tables to their owners takes one."
        )
    return Login({name: str(value) for name, value in conninfo_to_dict(url).items() if value})
