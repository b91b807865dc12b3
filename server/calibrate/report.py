"""The report: every bar beside what was measured, the pictures, and every cell in tables."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from monitoring.charts import to_png
from server.calibrate.bars import Judged, judge
from server.calibrate.cells import Row
from server.calibrate.drawing import PIXELS
from server.calibrate.pictures import PICTURES
from server.calibrate.quoted import quoted
from server.calibrate.sections import HEAD, SECTIONS, Section, Table

REPORT, QUOTED = "report.md", "figures.json"
# Columns of words stand at the left.
WORDS = {"what", "way", "kind", "setting", "rule"}
# Standard errors that a figure of few farms may be off by.
CHANCE = 3.0
KEPT = {True: "yes", False: "**no**"}


def as_told(part: str, bars: Sequence[Judged], *, quick: bool = False) -> str:
    """A part's bars for a terminal: kept or not, what was asked, the worst cell.

    Of a quick run a bar is "unsure" where so few farms miss it by chance: by up to three standard errors.
    """
    lines = [f"{part}: " + SECTIONS[part].title]
    for found in bars:
        unsure = quick and found.kept(CHANCE)
        mark = "kept  " if found.kept() else "unsure" if unsure else "MISSED"
        lines.append(f"  {mark} {found.bar.asked:>14}  {_percent(found.value):>6} %  {found.bar.says} ({found.cell})")
    return "\n".join(lines if bars else [*lines, "  Told without bars: see the report."])


def write_report(folder: Path, figures: Mapping[str, Any]) -> None:
    """Write the report, its pictures and the figures that pages quote into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, picture in PICTURES.items():
        if picture.part in figures:
            (folder / f"{name}.png").write_bytes(to_png(picture.draw(figures), width=PIXELS))
    (folder / REPORT).write_text(as_markdown(figures))
    (folder / QUOTED).write_text(json.dumps(quoted(figures), indent=2) + "\n")


def as_markdown(figures: Mapping[str, Any]) -> str:
    """The whole report as text."""
    parts = [HEAD, "## What was asked, and the worst cell of it", bars_table(judge(figures))]
    parts += [_section(name, section, figures[name]) for name, section in SECTIONS.items() if name in figures]
    return "\n\n".join(parts) + "\n"


def bars_table(bars: Sequence[Judged]) -> str:
    """Every bar as a row."""
    lines = ["| asked of | asked | worst, % | s.e. | in the cell | kept |", "|---|---|---:|---:|---|---|"]
    for found in bars:
        cell = f"{found.cell}; of {found.cells} cells" if found.cells > 1 else found.cell
        figures = f"{_percent(found.value)} | {_percent(found.error)}"
        lines.append(f"| {found.bar.says} | {found.bar.asked} | {figures} | {cell} | {KEPT[found.kept()]} |")
    return "\n".join(lines)


def _section(name: str, section: Section, figures: Mapping[str, Any]) -> str:
    size = next(figures[column] for column in ("farms", "sessions", "weeks") if column in figures)
    told = [f"## {section.title}", section.about.format(size=f"{size:,}", **_plain_words(figures))]
    told += [f"![{picture.shows}]({file}.png)" for file, picture in PICTURES.items() if picture.part == name]
    for table in section.tables:
        if figures.get(table.rows):
            told += [f"### {table.title}", *([table.about] if table.about else []), _table(table, figures[table.rows])]
    return "\n\n".join(told)


def _plain_words(figures: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in figures.items() if isinstance(value, int | float)}


def _table(table: Table, rows: Sequence[Row]) -> str:
    columns = table.columns
    lines = [
        "| " + " | ".join(columns.values()) + " |",
        "|" + "".join("---|" if name in WORDS else "---:|" for name in columns),
    ]
    lines += ["| " + " | ".join(_cell(row.get(name), name in table.plain) for name in columns) + " |" for row in rows]
    return "\n".join(lines)


def _cell(value: Any, plain: bool) -> str:  # noqa: FBT001 - a column is shown as it is, or in per cent
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{round(value, 2):,g}" if plain else _percent(value)


def _percent(share: float) -> str:
    """0.9512 as "95.1"."""
    return f"{100 * share:.1f}"
