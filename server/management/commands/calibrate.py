"""`manage.py calibrate`: what the statistics promise, measured on simulated farms, beside what was asked of them."""

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from server.calibrate.bars import judge
from server.calibrate.cells import PROCESSES
from server.calibrate.parts import PARTS
from server.calibrate.report import as_told, write_report

FOLDER = settings.BASE_DIR / "docs" / "calibration"


class Command(BaseCommand):
    help = (
        "Measures on simulated farms what the statistics promise and prints it beside what was asked. The whole run "
        "takes about a quarter of an hour on two cores and writes docs/calibration anew."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--json", action="store_true", help="print all figures as one JSON object; write nothing")
        parser.add_argument("--quick", action="store_true", help="few farms in a few cells, in less than a minute")
        parser.add_argument("--only", default="", help=f"some parts, as in trend,rise; there are {', '.join(PARTS)}")
        parser.add_argument("--into", type=Path, help="where the report goes; else only a whole run writes one")
        parser.add_argument("--processes", type=int, default=PROCESSES, help="the figures do not depend on it")

    def handle(self, *args: Any, **options: Any) -> None:
        names = _chosen(options["only"])
        figures = {}
        for name in names:
            figures[name] = PARTS[name].measure(quick=options["quick"], processes=options["processes"])
            if not options["json"]:
                self.stdout.write(as_told(name, judge({name: figures[name]}), quick=options["quick"]))
        if options["json"]:
            bars = [found.as_data() for found in judge(figures)]
            self.stdout.write(json.dumps(figures | {"quick": options["quick"], "bars": bars}, allow_nan=False))
            return
        whole = not options["quick"] and names == list(PARTS)
        folder = options["into"] or (FOLDER if whole else None)
        if folder is not None:
            write_report(folder, figures)
            self.stdout.write(f"The report is in {folder}.")


def _chosen(only: str) -> list[str]:
    wanted = [name.strip() for name in only.split(",") if name.strip()]
    unknown = sorted(set(wanted) - set(PARTS))
    if unknown:
        raise CommandError(f"There is no {', '.join(unknown)} to measure: choose from {', '.join(PARTS)}.")
    return [name for name in PARTS if not wanted or name in wanted]
