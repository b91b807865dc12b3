"""A report laid out as plain text, the same for paper and page: every value as its reader sees it."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.utils.translation import override

from server.season_report.blocks import (
    Block,
    Column,
    Count,
    CountLine,
    CountTable,
    Facts,
    Picture,
    Points,
    Report,
    Section,
    Subhead,
    Table,
    Value,
    Words,
)
from server.season_report.told import shown


def laid_out(report: Report, pictures: dict[str, str]) -> dict[str, Any]:
    """All of it as dictionaries, lists and text; each drawing is put into `pictures` under its name."""
    with override(report.language):
        return {
            "title": report.title,
            "subtitle": report.subtitle,
            "author": report.author,
            "lang": report.language,
            "opening": report.opening,
            "facts": _pairs(report.facts),
            "contents": report.words.contents,
            "page": report.words.page,
            "foot": report.words.foot,
            "attached": report.words.attached,
            "sections": [_section(each, pictures) for each in report.sections],
        }


def _section(section: Section, pictures: dict[str, str]) -> dict[str, Any]:
    blocks = [_block(each, pictures) for each in section.blocks]
    return {"key": section.key, "title": section.title, "new_page": section.new_page, "blocks": blocks}


def _block(block: Block, pictures: dict[str, str]) -> dict[str, Any]:  # noqa: PLR0911 - one a kind
    match block:
        case Words():
            return {"kind": "words", "text": block.text, "tone": block.tone, "level": block.level}
        case Subhead():
            return {"kind": "subhead", "text": block.text}
        case Points():
            return {"kind": "points", "items": list(block.items)}
        case Facts():
            return {"kind": "facts", "title": block.title, "pairs": _pairs(block.pairs)}
        case Table():
            return _table(block)
        case CountTable():
            return _counts(block)
        case Picture():
            name = f"{len(pictures)}.svg"
            pictures[name] = block.svg
            return {"kind": "picture", "file": name, "words": block.words, "share": block.share}


def _pairs(pairs: Sequence[tuple[str, Value]]) -> list[list[str]]:
    return [[term, shown(value)] for term, value in pairs]


def _table(table: Table) -> dict[str, Any]:
    columns: Sequence[Column] = table.columns
    return {
        "kind": "table",
        "name": table.name,
        "title": table.name if table.titled else "",
        "head": [column.name for column in columns],
        "shares": [column.share for column in columns],
        "figures": [column.is_figure for column in columns],
        "days": [_are_days([row[at] for row in table.rows]) for at in range(len(columns))],
        "rows": [[shown(value) for value in row] for row in table.rows],
        "empty": table.empty,
    }


def _are_days(values: Sequence[Value]) -> bool:
    return all(isinstance(value, date) for value in values)


def _counts(table: CountTable) -> dict[str, Any]:
    return {
        "kind": "counts",
        "name": table.name,
        "heads": list(table.heads),
        "stations": list(table.stations),
        "lines": [_line(line) for line in table.lines],
    }


def _line(line: CountLine) -> dict[str, Any]:
    return {
        "taken": shown(line.taken_on),
        "hung": shown(line.hung_on),
        "days": shown(line.days),
        "gap": line.gap,
        "counts": [_count(each) for each in line.counts],
    }


def _count(count: Count | None) -> list[str] | None:
    return None if count is None else [count.told, count.marks]
