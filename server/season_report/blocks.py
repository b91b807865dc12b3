"""What a season report is made of: plain frozen objects, told the same to paper, page and spreadsheet.

Sections make them from what was read; the writers lay them out and decide nothing about what is told.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal

# A figure stays a figure until a writer shows it. Moments are by the farm's clock.
Value = str | int | float | Decimal | date | datetime | None


@dataclass(frozen=True)
class Words:
    """A paragraph. `tone`: "" plain, "lead", "soft", or "caution" where work can hurt somebody; `level` puts its ring
    before it (below, near, over).
    """

    text: str
    tone: str = ""
    level: str = ""


@dataclass(frozen=True)
class Subhead:
    text: str


@dataclass(frozen=True)
class Points:
    items: Sequence[str]


@dataclass(frozen=True)
class Facts:
    """Terms, each with its fact; with a `title` they are one record, of which a page shows two beside each other."""

    pairs: Sequence[tuple[str, Value]]
    title: str = ""


@dataclass(frozen=True)
class Column:
    """`share` is how wide it is beside the others; figures stand right."""

    name: str
    share: float = 1.0
    is_figure: bool = False


@dataclass(frozen=True)
class Table:
    """`name` is short: a spreadsheet's tab and a reader's label; `titled` shows it above. Without rows `empty` is told
    in its place.
    """

    name: str
    columns: Sequence[Column]
    rows: Sequence[Sequence[Value]]
    empty: str = ""
    titled: bool = False


@dataclass(frozen=True)
class Count:
    """What was found at a card or trap: the count or the word why there is none, and letters for its marks."""

    told: str
    marks: str = ""
    count: int | None = None
    part: Decimal | None = None
    at_least: bool = False
    reason: str = ""


@dataclass(frozen=True)
class CountLine:
    """What was taken down on one day after hanging from another: by station its count. With `gap`, a week without."""

    taken_on: date
    hung_on: date | None = None
    days: int | None = None
    counts: Sequence[Count | None] = ()
    gap: str = ""


@dataclass(frozen=True)
class CountTable:
    """All counts of one building, method and season: a column a station, a line a day."""

    name: str
    place: str
    method: str
    stations: Sequence[str]
    lines: Sequence[CountLine]
    heads: tuple[str, str, str] = ("", "", "")


@dataclass(frozen=True)
class Picture:
    """A drawing as SVG with what it shows in words. `share` of the page's width."""

    svg: str
    words: str
    share: float = 1.0


Block = Words | Subhead | Points | Facts | Table | CountTable | Picture


@dataclass(frozen=True)
class Section:
    """`key` is the same in every outline and language. `new_page`: on paper it begins one."""

    key: str
    title: str
    blocks: Sequence[Block]
    new_page: bool = False


@dataclass(frozen=True)
class Report:
    """The whole. `opening` says for whom it is; `facts` stand under the title."""

    title: str
    subtitle: str
    author: str
    language: str
    opening: str
    facts: Sequence[tuple[str, Value]]
    sections: Sequence[Section]
    words: "ReportWords"
    made_on: date
    time_zone: str
    evidence: bytes = field(default=b"", repr=False)


@dataclass(frozen=True)
class ReportWords:
    """What a writer says by itself, in the report's language."""

    contents: str
    page: str
    attached: str
    foot: str
