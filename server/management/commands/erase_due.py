"""What was asked to be erased and is due, done in the eraser's role. For whoever runs the service, or their timer."""

import json
from argparse import ArgumentParser
from collections.abc import Mapping
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from farms.clock import now
from server.erasing.due import Told, erase_due, look_at_due
from server.erasing.retention import over_time, tidy


class Command(BaseCommand):
    help = (
        "Erase the farms and people whose day has come, and what is over its time. It connects by "
        "DATABASE_URL_ERASER alone; run twice, it finds nothing left to do. --dry-run says what would go and erases "
        "nothing."
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
        dry, moment = bool(options["dry_run"]), now()
        told = list((look_at_due if dry else erase_due)(now=moment, using="eraser"))
        old = +(over_time if dry else tidy)(now=moment, using="eraser")
        write = _as_json if options["json"] else _in_words
        self.stdout.write(write(told, old, dry=dry))
        if any(each.failed for each in told):
            raise CommandError("Some of it could not be erased; see above. Run it again.", returncode=1)


def _in_words(told: list[Told], old: Mapping[str, int], *, dry: bool) -> str:
    lines = [each.sentence(dry=dry) for each in told] or ["No farm and no person is due to be erased."]
    if old:
        lines.append(f"Over its time: {sum(old.values()):,} rows {'would go' if dry else 'erased'}.")
        lines += [f"    {number:>9,}  {table}" for table, number in sorted(old.items())]
    else:
        lines.append("Nothing is over its time.")
    return "\n".join(lines)


def _as_json(told: list[Told], old: Mapping[str, int], *, dry: bool) -> str:
    return json.dumps({"dry_run": dry, "done": [each.as_plain() for each in told], "over_time": dict(old)})
