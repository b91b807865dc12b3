"""The demo: an invented season on real servers, served on this machine."""

import os
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from server.demo.processes import DemoError


class Command(BaseCommand):
    help = "Load an invented season into the embedded servers and serve it on 127.0.0.1."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--fresh", action="store_true", help="Start over: empty the database and the mails first.")
        parser.add_argument("--once", action="store_true", help="Do the work without serving; print a JSON object.")
        parser.add_argument("--pictures", type=Path, help="Take a picture of every page into this folder, then stop.")
        parser.add_argument("--port", type=int, default=8000, help="The port wanted; another one where it is taken.")

    def handle(self, *args: Any, fresh: bool, once: bool, pictures: Path | None, port: int, **options: Any) -> None:
        from server.demo.run import Folder, serve

        folder = Folder(Path(os.environ.get("FLYROUND_DATA") or settings.BASE_DIR / ".data"))
        try:
            with folder.alone():
                if fresh or not folder.finished.exists():
                    self._empty(folder.data, folder.finished)
                serve(folder, wanted_port=port, once=once, pictures=pictures)
        except DemoError as error:
            raise CommandError(str(error)) from error

    def _empty(self, data: Path, finished: Path) -> None:
        """A database made anew, since a demo that was stopped while loading left half a season."""
        from server import embedded

        finished.unlink(missing_ok=True)
        with embedded.servers(data) as running:
            running.recreate_database()
