"""`manage.py archive_farm FARM FILE`: everything of one farm in one file, for whoever runs the installation."""

import hashlib
from argparse import ArgumentParser
from pathlib import Path
from typing import Any
from uuid import UUID

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from farms.models import Farm
from server.backup import BackupError
from server.backup.archive import new_file
from server.farm_archive.described import document
from server.farm_archive.making import made_in_one_snapshot

BACKUP = "backup"


class Command(BaseCommand):
    help = "Writes everything of one farm into one file, as its owner can on the farm's page."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("farm", type=UUID, nargs="?", help="the farm's id, as in the address of its page")
        parser.add_argument("file", type=Path, nargs="?")
        parser.add_argument("--describe", action="store_true", help="print docs/farm-archive.md instead")

    def handle(self, *args: Any, **given: Any) -> None:
        if given["describe"]:
            self.stdout.write(document(), ending="")
            return
        if given["farm"] is None or given["file"] is None:
            raise CommandError("Say which farm, by its id, and the file to write.")
        if BACKUP not in settings.DATABASES:
            raise CommandError("Set DATABASE_URL_BACKUP: no other role may read a farm that nobody acts for.")
        if not Farm.objects.using(BACKUP).filter(id=given["farm"]).exists():
            raise CommandError(f"There is no farm {given['farm']} here: its id stands in the address of its page.")
        digest, size = hashlib.sha256(), 0
        try:
            with new_file(given["file"]) as file:
                for piece in made_in_one_snapshot(given["farm"], now=timezone.now(), using=BACKUP):
                    digest.update(piece)
                    size += file.write(piece)
        except BackupError as refusal:
            raise CommandError(str(refusal)) from refusal
        self.stdout.write(f"{given['file']}: {size:,} bytes, SHA-256 {digest.hexdigest()}")
        self.stdout.write("It holds names, photos and where the farm is: give it to nobody but the farm.")
