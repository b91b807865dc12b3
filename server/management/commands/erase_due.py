"""What was asked to be erased and is due, done in the eraser's role. For whoever runs the service, or their timer."""

import json
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from farms.clock import now
from server.erasing.due import Told, erase_due, look_at_due


class Command(BaseCommand):
    help = (
        "Erase the farms and people whose day has come. It connects by DATABASE_URL_ERASER alone; run twice, it finds "
        "nothing left to do. --dry-run says what would go and erases nothing."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--dry-run", action="store_true", help="Say what would go; erase nothing.")
        parser.add_argument("--json", action="store_true", help="One JSON object instead of sentences.")

    def handle(self, *args: Any, **options: Any) -> None:
        if "eraser" not in settings.DATABASES:
            raise CommandError(
                "Set DATABASE_URL_ERASER to the login of the role flyround_eraser, which alone may erase."
            )
        act = look_at_due if options["dry_run"] else erase_due
        told = list(act(now=now(), using="eraser"))
        self.stdout.write(
            _as_json(told, options["dry_run"]) if options["json"] else _in_words(told, options["dry_run"])
        )
        if any(each.failed for each in told):
            raise CommandError("Some of it could not be erased; see above. Run it again.", returncode=1)


def _in_words(told: list[Told], *, dry: bool) -> str:
    lines = [each.sentence(dry=dry) for each in told]
    return "\n".join(lines or ["Nothing is due to be erased."])


def _as_json(told: list[Told], *, dry: bool) -> str:
    return json.dumps({"dry_run": dry, "done": [each.as_plain() for each in told]})
