"""`manage.py bench [--json] [names...]`: the measured ratios, one line a figure, on servers of its own."""

import importlib
import json
import os
import pkgutil
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from server import embedded


class Command(BaseCommand):
    help = "Measures ratios, such as the import's speed against COPY, and prints one line a figure."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("names", nargs="*", help="modules of tests/bench, as in: ingest trend; all without a name")
        parser.add_argument("--json", action="store_true", help="one JSON object {name: {value, unit, runs}} instead")

    def handle(self, *args: Any, **options: Any) -> None:
        found = modules()
        unknown = set(options["names"]) - set(found)
        if unknown:
            raise CommandError(f"There is no {', '.join(sorted(unknown))} to measure: choose from {', '.join(found)}.")
        # Only on servers that manage.py started for this command: what is measured fills tables.
        if embedded.current() is None:
            raise CommandError("Unset DATABASE_URL: what is measured runs on throw-away servers only.")
        # Requests are counted as in production, here and in the web servers that are started; no limit is reached.
        settings.API_LIMITS_TIMES = 1_000_000
        os.environ["API_LIMITS_TIMES"] = str(settings.API_LIMITS_TIMES)
        call_command("migrate", database="owner", verbosity=0, interactive=False)
        figures: dict[str, dict[str, Any]] = {}
        for name in options["names"] or found:
            measured = importlib.import_module(f"tests.bench.{name}").figures()
            figures |= measured
            if not options["json"]:
                self.tell(measured)
        if options["json"]:
            self.stdout.write(json.dumps(figures, indent=2))

    def tell(self, figures: dict[str, dict[str, Any]]) -> None:
        for name, figure in figures.items():
            self.stdout.write(f"{name}  {figure['value']:.4g} {figure['unit']}  ({figure['runs']} runs)")


def modules() -> list[str]:
    """The modules of tests/bench, by name."""
    folder = settings.BASE_DIR / "tests" / "bench"
    if not folder.is_dir():
        raise CommandError("There is nothing to measure here: tests/bench belongs to the checkout, not to an image.")
    return sorted(module.name for module in pkgutil.iter_modules([str(folder)]))
