"""A new key that signs the days."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from farms.heads import key_id
from server.evidence.files import AlreadyThere
from server.evidence.keys import make_key, public_pem


class Command(BaseCommand):
    help = "Make a key that signs each day's head: the private key in a file that only you can read. Never overwrites."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", nargs="?", type=Path, help="Where to write it; else where HEADS_KEY says.")

    def handle(self, *args: Any, file: Path | None, **options: Any) -> None:
        path = file or (Path(settings.HEADS_KEY) if settings.HEADS_KEY else None)
        if path is None:
            raise CommandError("Name the file, for example /etc/flyround/heads-key.pem, or set HEADS_KEY.")
        if path.exists():
            raise CommandError(f"{path} is there already. Name another file, then set HEADS_KEY.")
        try:
            public = make_key(path).public_key().public_bytes_raw()
        except (OSError, AlreadyThere) as error:
            raise CommandError(f"{path} can't be written: {error}") from error
        self.stdout.write(f"The private key is in {path}. Keep a copy elsewhere, and give it to nobody.")
        self.stdout.write(f"Its public key, {key_id(public)}:\n{public_pem(public)}")
