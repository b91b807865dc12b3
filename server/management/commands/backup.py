"""`manage.py backup FILE-OR-FOLDER`: everything that an installation keeps, in one file."""

import signal
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from server.backup import BackupError, backup_login, sha256_of, take


class Command(BaseCommand):
    help = "Writes everything that this installation keeps into one file, while the service may go on."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "target", type=Path, metavar="FILE-OR-FOLDER", help="in a folder it gets a name by its time"
        )

    def handle(self, *args: Any, **given: Any) -> None:
        # An interrupted backup takes away what it had begun.
        signal.signal(signal.SIGTERM, lambda *_signal: sys.exit(143))
        try:
            path, manifest = take(
                given["target"], login=backup_login(), version=settings.CODE_VERSION, now=timezone.now()
            )
        except BackupError as refusal:
            raise CommandError(str(refusal)) from refusal
        except OSError as error:
            raise CommandError(f"The backup could not be written ({error.strerror}): nothing is kept of it.") from error
        tables = manifest["contents"]["tables"].values()
        self.stdout.write(
            f"{path}: {sum(each['rows'] for each in tables):,} rows of {len(tables)} tables, "
            f"{len(manifest['contents']['heads']):,} chains, {path.stat().st_size:,} bytes."
        )
        self.stdout.write(f"SHA-256 {sha256_of(path)}")
        self.stdout.write(
            "It holds every farm's counts and people's addresses: encrypt it and keep it apart. The service's own keys "
            "(SECRET_KEY, passwords) are not in it."
        )
