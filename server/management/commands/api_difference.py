"""`manage.py api_difference`: what the API has that wasn't published yet, and whether anything was taken away."""

from typing import Any

import yaml
from django.core.management.base import BaseCommand, CommandError, CommandParser

from server.api.documentation import DOCUMENT
from server.api.surface import difference, surface

PUBLISHED = DOCUMENT.with_name("surface.txt")


class Command(BaseCommand):
    help = "Tell what the API document says beyond what was published; fail where something is gone."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--publish", action="store_true", help="Take the document as it is for published.")

    def handle(self, *args: Any, **options: Any) -> None:
        now = surface(yaml.safe_load(DOCUMENT.read_text()))
        if options["publish"]:
            PUBLISHED.write_text("\n".join(now) + "\n")
            return
        found = difference(PUBLISHED.read_text().splitlines(), now)
        for sign, lines in (("+", found.new), ("-", found.gone), ("!", found.refusing)):
            for line in lines:
                self.stdout.write(f"{sign} {line}")
        self.stdout.write(f"{len(found.new)} new, {len(found.gone)} gone, {len(found.refusing)} that refuse more.")
        if not found.is_additive:
            raise CommandError("Within /api/v1 things are only added: give back what is gone, or give it a Leaving.")
