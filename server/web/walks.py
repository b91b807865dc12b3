"""Findings of fly walks as pages list them: where, how each stands, by when, and whether that day is over."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _

from monitoring.selectors import open_findings, words_of_findings
from server.web.choices import label_of
from server.web.words import long_day

if TYPE_CHECKING:
    from monitoring.models import Finding


@dataclass(frozen=True)
class FindingLine:
    """One finding with its words, in sentences."""

    row: "Finding"
    where: str
    seen: str
    to_do: str
    when: str
    late: bool


def finding_lines(farm: Any, rows: Iterable[Any], today: date) -> list[FindingLine]:
    """The findings in their order, told; two queries for however many."""
    rows = list(rows)
    words = words_of_findings(farm, [row.id for row in rows]) if rows else {}
    return [_line(row, words.get(row.id, {}), today) for row in rows]


def open_lines(farm: Any, today: date) -> list[FindingLine]:
    """What is to be done or looked at again on a farm."""
    return finding_lines(farm, open_findings(farm), today)


def where_of(row: Any, words: dict[str, str]) -> str:
    """Under waterers, Calf barn: the place in its own words, where it has some."""
    place = words.get("place_words") or str(row.get_place_display())
    name = f"{place[:1].upper()}{place[1:]}"
    return f"{name}, {row.facility.name}" if row.facility else name


def seen_of(row: Any) -> str:
    """Bedding, wet, some maggots, no pupae; or that nothing was found. What nobody looked for isn't told."""
    if row.nothing:
        return _("nothing found")
    told = [str(label_of("monitoring.Finding", name, getattr(row, name))) for name in ("material", "moisture")]
    told += [str(AMOUNTS[name, value]()) for name in ("larvae", "pupae") if (value := getattr(row, name))]
    return ", ".join(filter(None, told))


# Whole phrases, since languages agree in gender and order.
AMOUNTS = {
    ("larvae", "none"): lambda: _("no maggots"),
    ("larvae", "some"): lambda: _("some maggots"),
    ("larvae", "many"): lambda: _("many maggots"),
    ("pupae", "none"): lambda: _("no pupae"),
    ("pupae", "some"): lambda: _("some pupae"),
    ("pupae", "many"): lambda: _("many pupae"),
}


def _line(row: Any, words: dict[str, str], today: date) -> FindingLine:
    late = row.due is not None and row.due < today
    to_do = words.get("to_do", "")
    by_whom = words.get("by_whom", "")
    if to_do and by_whom:
        to_do = _("{what} ({who})").format(what=to_do, who=by_whom)
    return FindingLine(row, where_of(row, words), seen_of(row), to_do, _when(row), late)


def _when(row: Any) -> str:
    """By Tuesday, June 2; to be looked at again on that day; or that no day is set."""
    if row.state == "to_do":
        return _("by {day}").format(day=long_day(row.due)) if row.due else _("no day set")
    if row.state == "to_check":
        return _("done on {day}, look again on {next}").format(day=long_day(row.last_on), next=long_day(row.due))
    return _("gone on {day}").format(day=long_day(row.last_on)) if row.state == "gone" else ""
