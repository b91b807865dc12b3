"""The report as a page to keep: one HTML file with the site's own look in it, that asks nobody for anything."""

import base64
import re
from functools import cache
from pathlib import Path
from typing import Any

from django.template.loader import render_to_string
from django.utils.safestring import mark_safe

from server.season_report.blocks import Report
from server.season_report.layout import laid_out

STATIC = Path(__file__).resolve().parents[1] / "web" / "static" / "web"
STYLES = ("flyround.css", "charts.css", "season-report.css")
A_FEW_WORDS, A_SENTENCE = 18, 40  # signs
TOLD = "told"
_FONT = re.compile(r"url\([\"']?(?:\./)?(fonts/[^\"')]+)[\"']?\)")


def report_page(report: Report) -> bytes:
    """The file in UTF-8."""
    pictures: dict[str, str] = {}
    told = laid_out(report, pictures)
    drawn = {name: mark_safe(svg) for name, svg in pictures.items()}  # noqa: S308 - drawn by us, texts escaped
    for section in told["sections"]:
        for block in section["blocks"]:
            _prepare(block, drawn)
    shown = {"report": told, "style": mark_safe(_style())}  # noqa: S308 - our own files
    return render_to_string("reports/season.html", shown).encode()


def _prepare(block: dict[str, Any], drawn: dict[str, Any]) -> None:
    """What a template can't do by itself: a drawing by its name, a cell beside its column."""
    if block["kind"] == "picture":
        block["svg"] = drawn[block["file"]]
    if block["kind"] == "table":
        names, looks = block["head"], [_look(block, at) for at in range(len(block["head"]))]
        block["head"] = list(zip(names, looks, strict=True))
        block["rows"] = [list(zip(row, looks, names, strict=True)) for row in block["rows"]]
        # Of sentences a phone makes a record a row, each value under its column's name.
        block["as_records"] = TOLD in looks
    if block["kind"] == "counts":
        block["across"] = len(block["stations"]) + len(block["heads"])


def _look(table: dict[str, Any], at: int) -> str:
    """The class of a column: figures, days and a few words stay on one line."""
    longest = max((len(row[at]) for row in table["rows"]), default=0)
    if table["figures"][at]:
        return "number"
    if table["days"][at] or longest <= A_FEW_WORDS:
        return "short"
    return TOLD if longest > A_SENTENCE else ""


@cache
def _style() -> str:
    """The site's own stylesheets with their fonts inside."""
    told = "\n".join(_FONT.sub(_inside, (STATIC / name).read_text()) for name in STYLES)
    return f"<style>{told}</style>"


def _inside(found: re.Match[str]) -> str:
    path = STATIC / found[1]
    return f"url(data:font/woff2;base64,{base64.b64encode(path.read_bytes()).decode()})"
