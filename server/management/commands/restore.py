"""`manage.py restore FILE`: a backup, put in the place of an empty database or, if you say so, of the one in use."""

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import connections

from server.backup import BackupError, Wish, restore, superuser_login


class Command(BaseCommand):
    help = "Restores a backup into an empty database; what it finds wrong in it is told, and nothing is changed."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="as `manage.py backup` wrote it; take none from a stranger")
        parser.add_argument("--replace", action="store_true", help="give up what the database holds now")
        parser.add_argument("--replace-database", metavar="NAME", help="what --replace asks for, said beforehand")
        parser.add_argument("--keep-old", action="store_true", help="keep what was there as a database beside it")
        parser.add_argument("--jobs", type=int, default=2, help="processes that restore at the same time (2)")

    def handle(self, *args: Any, **given: Any) -> None:
        connections.close_all()
        try:
            superuser = superuser_login()
            if given["replace"] or given["replace_database"]:
                self.require_name(superuser.database, given["replace_database"])
            wish = Wish(bool(given["replace"] or given["replace_database"]), given["keep_old"], max(1, given["jobs"]))
            manifest = restore(given["file"], superuser=superuser, wish=wish, say=self.stdout.write)
        except BackupError as refusal:
            raise CommandError(str(refusal)) from refusal
        tables = manifest["contents"]["tables"].values()
        rows = sum(each["rows"] for each in tables)
        self.stdout.write(
            f"Restored as of {manifest['taken_at']}: {rows:,} rows of {len(tables)} tables, "
            f"{len(manifest['contents']['heads']):,} chains, all as the backup has them."
        )

    def require_name(self, database: str, said: str | None) -> None:
        """Whoever gives up a database types its name."""
        if said is None and sys.stdin.isatty():
            said = input(f"All that {database} holds now is given up. Type the database's name to go on: ")
        if said != database:
            raise CommandError(
                f"Nothing was changed: to replace what is there, type its name, {database}, when you are asked, or add "
                f"--replace-database {database}."
            )
