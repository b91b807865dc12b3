"""What somebody chose about a table of their own: which row names its columns, and which column means what."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from typing import Any

from monitoring.rules.stations import plain


class Meaning(StrEnum):
    """What a column holds."""

    NOTHING = ""
    DATE = "date"
    STATION = "station"
    COUNT = "count"
    REASON = "reason"
    METHOD = "method"
    BUILDING = "building"
    HUNG_ON = "hung_on"
    DAYS = "days"
    # Its name is a station's, and its cells are that one's counts: a column a card.
    OF_ONE_STATION = "of_one_station"


class Layout(StrEnum):
    """Since when a card was up, where no column tells it."""

    COLUMN = "column"
    BEFORE = "before"
    SEVEN = "seven"


# What may become of a word in the place of a count: a reason (models.reading.NoCount), or one of these.
LEAVE_OUT, REFUSE = "leave_out", "refuse"


@dataclass(frozen=True)
class Choices:
    """`header` is the row with the names, as a spreadsheet counts; 0 for none. `meanings` are by place of the column.

    `words` say what becomes of a text that is no count; `places` which building a new station is in (see `Understood`).
    """

    sheet: int = 0
    header: int = 1
    meanings: Sequence[str] = ()
    method: str = "card"
    up: str = Layout.SEVEN.value
    order: str = ""
    words: Mapping[str, str] = field(default_factory=dict)

    def columns(self, meaning: Meaning) -> list[int]:
        return [place for place, each in enumerate(self.meanings) if each == meaning]

    def column(self, meaning: Meaning) -> int | None:
        found = self.columns(meaning)
        return found[0] if found else None

    def as_kept(self, names: Sequence[str]) -> dict[str, Any]:
        """For the next table of this farm: by the columns' names, since their places change."""
        kept = {
            key: value for key, value in asdict(self).items() if key not in ("sheet", "header", "meanings", "order")
        }
        told = {plain(name): meaning for name, meaning in zip(names, self.meanings, strict=True) if name and meaning}
        return kept | {"columns": told, "words": dict(self.words)}


def understood_before(kept: Mapping[str, Any] | None, choices: Choices, names: Sequence[str]) -> Choices:
    """Proposals, with what this farm chose the last time for columns of the same names."""
    if not kept:
        return choices
    known = kept.get("columns", {})
    if not any(plain(name) in known for name in names):
        return choices
    meanings = [known.get(plain(name), guess) for name, guess in zip(names, choices.meanings, strict=True)]
    changed = {name: kept[name] for name in ("method", "up") if name in kept}
    words = {**choices.words, **kept.get("words", {})}
    return Choices(**{**asdict(choices), **changed, "meanings": meanings, "words": words})
