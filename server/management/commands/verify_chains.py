"""Every row of every farm's chain against the signed heads that lie outside the database."""

import json
import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connections, transaction

from server.evidence.whole import Outside, Report, outside_in, verify_all

MOST_TOLD = 50


class Command(BaseCommand):
    help = (
        "Hash every chained row again and hold the chains against daily heads from outside the database. Reads only; "
        "run it as DATABASE_ROLE=backup, which may read everything. Ends with 1 where something doesn't hold."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--heads", type=Path, help="The folder of head-*.json and key-*.pem; else HEADS_DIR.")
        parser.add_argument("--erased", type=int, default=0, help="How many farms were erased that these heads held.")
        parser.add_argument("--json", action="store_true", help="One JSON object instead of sentences.")

    def handle(self, *args: Any, heads: Path | None, erased: int, **options: Any) -> None:
        folder = heads or (Path(settings.HEADS_DIR) if settings.HEADS_DIR else None)
        if folder is not None and not folder.is_dir():
            raise CommandError(f"{folder} is no folder. Name the one in which the heads lie: --heads FOLDER.")
        using = "backup" if "backup" in settings.DATABASES else "default"
        began = time.monotonic()
        outside = outside_in(folder) if folder else Outside({}, {})
        with transaction.atomic(using=using):
            # One look at all of it, while others go on writing.
            with connections[using].cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            report = verify_all(outside, erased=erased, using=using)
        told = _as_json(report, time.monotonic() - began) if options["json"] else _in_words(report)
        self.stdout.write(told)
        if report.faults:
            raise CommandError(f"{len(report.faults)} things don't hold.", returncode=1)


def _in_words(report: Report) -> str:
    found = report.found
    lines = [
        f"Looked at {found.rows:,} rows of {found.entries:,} entries on {found.farms:,} farms; {report.heads:,} heads.",
        f"{found.erased:,} rows were erased; their hashes hold their places." if found.erased else "",
    ]
    if report.last_outside is None:
        lines.append("No head from outside was there: whoever rewrote all of the database is not found so.")
    else:
        lines.append(
            f"The last head from outside is of {report.last_outside}. {found.not_covered:,} entries came after what it "
            "and those before it cover."
        )
    told = report.faults[:MOST_TOLD]
    lines += [f"- {fault}" for fault in told]
    if len(report.faults) > len(told):
        lines.append(f"... and {len(report.faults) - len(told)} more.")
    if not report.faults:
        lines.append("All of it holds.")
    return "\n".join(filter(None, lines))


def _as_json(report: Report, seconds: float) -> str:
    found = report.found
    return json.dumps(
        {
            "farms": found.farms, "entries": found.entries, "rows": found.rows, "erased": found.erased,
            "heads": report.heads, "last_outside": str(report.last_outside or ""), "not_covered": found.not_covered,
            "unclaimed": {str(day): number for day, number in report.unclaimed.items()},
            "faults": [str(fault) for fault in report.faults], "seconds": round(seconds, 2),
        }
    )  # fmt: skip
