"""What people write into cells, turned into the values that monitoring.rules.cells knows."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import time
from decimal import Decimal, InvalidOperation
from typing import Any

from django.utils.translation import gettext_lazy as _

from monitoring.models.reading import How, NoCount
from monitoring.rules import cells
from monitoring.rules.cells import WrongCell
from monitoring.rules.stations import plain

# About 250 flies fill a cup (common practice, no source).
FLIES_IN_A_CUP = 250

REASONS = {
    **dict.fromkeys(("lost", "perdida", "perdido", "se perdio", "gone", "missing", "falta"), NoCount.LOST.value),
    **dict.fromkeys(("wet", "mojada", "mojado"), NoCount.WET.value),
    **dict.fromkeys(("chewed", "masticada", "masticado", "mordida", "mordido"), NoCount.CHEWED.value),
    **dict.fromkeys(("spun", "spun in the wind", "volteada", "girada", "giro con el viento"), NoCount.SPUN.value),
    **dict.fromkeys(("kept out", "no se pudo entrar", "sin acceso"), NoCount.KEPT_OUT.value),
    **dict.fromkeys(("not visited", "no se reviso", "no visitada", "no visitado"), NoCount.NOT_VISITED.value),
}
# Nothing was written down: nobody knows of a count, and nobody says that the card is gone.
NOTHING = frozenset({"", "-", "--", "n/a", "na", "n.a.", "?", "none", "null", "sin dato"})
HOWS = {
    **dict.fromkeys(("counted", "all", "contada", "contado", "toda", "todo"), How.COUNTED.value),
    **dict.fromkeys(("part", "parte"), How.PART.value),
    **dict.fromkeys(("cup", "cups", "taza", "tazas"), How.CUP.value),
}
YES = frozenset({"yes", "y", "si", "s", "true", "verdadero", "x", "1"})
NO = frozenset({"no", "n", "false", "falso", "0"})

NUMBER = r"\d{1,9}(?:[.,]0{1,4})?"
WHOLE = re.compile(NUMBER, re.ASCII)
AT_LEAST = re.compile(
    rf"(?:(?P<after>{NUMBER}) ?(?:\+|or more|o mas)|(?:>=?|≥|at least|over|al menos|mas de|por lo menos) ?"
    rf"(?P<before>{NUMBER}))",
    re.ASCII,
)
CUPS = re.compile(r"(?P<cups>\d{1,4}(?:[.,]\d{1,2})?) ?(?:cups?|tazas?)", re.ASCII)
BEGINS_A_COUNT = re.compile(r"[\d>≥-]|at least|over|al menos|mas de|por lo menos", re.ASCII)
SEVERAL = re.compile(r"\d{1,5}(?:(?: ?[/|] ?| )\d{1,5})+", re.ASCII)
LIST = re.compile(r"\d{1,5}(?:(?: ?[,;/|+] ?| )\d{1,5})*", re.ASCII)
QUOTIENT = re.compile(r"(\d{1,4}) ?/ ?(\d{1,4})", re.ASCII)
PERCENT = re.compile(r"(\d{1,3}(?:[.,]\d{1,4})?) ?%", re.ASCII)
DECIMAL = re.compile(r"\d{0,9}(?:[.,]\d{1,9})?|\d{1,9}[.,]", re.ASCII)
CLOCK = re.compile(r"(\d{1,2})[:.h](\d{2})(?::\d{2})? ?([ap]\.? ?m\.?)?", re.ASCII)
# Five hundred animals fit.
LONGEST = 4_000
TOO_LONG = "\N{HORIZONTAL ELLIPSIS}"  # is nothing that any cell may hold

NOT_A_COUNT = _("This is no count. Write digits only, as 61; 300+ for at least so many; or why there is none, as lost.")
NOT_A_PART = _("This is no part of a card. Write it as 0.25, 1/4 or 25 %.")
NOT_A_REASON = _("This is no reason known here. Use one of: lost, wet, chewed, spun, kept out, not visited.")
NOT_A_HOW = _("Say how it was counted with one of: counted, part, cup.")
NOT_YES_OR_NO = _("Write yes or no, or leave the cell empty.")
NOT_A_LIST = _("Write the flies on each animal one after the other, as 3 0 5 2.")
NOT_A_TIME = _("This is no time of day. Write it as 07:30.")
NOT_WHOLE = _("This has to be a whole number, in digits only.")
NOT_CUPS = _("Write how many cups there were as a number, as 1.5.")


@dataclass(slots=True)
class CountCell:
    """What stands in a cell for a count: a number, perhaps at least so many or by the cup; animals; or a reason."""

    count: int | None = None
    at_least: bool = False
    how: str = ""
    animals: tuple[int, ...] | None = None
    reason: str = ""


def count_cell(text: str) -> CountCell:
    """61, 61.0, 300+, "at least 300", "1.5 cups", "3 0 5 2" for legs, "lost"; empty for none. Raises WrongCell."""
    bare = _bare(text)
    if bare in NOTHING:
        return CountCell()
    if bare in REASONS:
        return CountCell(reason=REASONS[bare])
    if BEGINS_A_COUNT.match(bare):
        for form, made in COUNT_FORMS:
            if found := form.fullmatch(bare):
                return made(found)
    raise WrongCell("not_a_number", NOT_A_COUNT)


def _bare(text: str) -> str:
    """A text without what doesn't matter. Of one that is too long the beginning alone would say something else."""
    stripped = text.strip()
    if len(stripped) > LONGEST:
        return TOO_LONG
    return stripped if stripped.isdigit() and stripped.isascii() else plain(stripped)


def _whole(text: str) -> int:
    return int(text.replace(",", ".").partition(".")[0])


def _decimal(text: str) -> Decimal:
    return Decimal(text.replace(",", "."))


def flies_in(cups: Decimal) -> int:
    return cells.count(round(cups * FLIES_IN_A_CUP))


COUNT_FORMS: tuple[tuple[re.Pattern[str], Callable[[re.Match[str]], CountCell]], ...] = (
    (WHOLE, lambda found: CountCell(cells.count(_whole(found[0])))),
    (AT_LEAST, lambda found: CountCell(cells.count(_whole(found["after"] or found["before"])), at_least=True)),
    (CUPS, lambda found: CountCell(flies_in(_decimal(found["cups"])), how=How.CUP.value)),
    (SEVERAL, lambda found: CountCell(animals=cells.animals([int(one) for one in re.split(r"[ /|]+", found[0])]))),
    # Told as what they are: less than nothing, or more than anybody can count.
    (re.compile(r"-\d+", re.ASCII), lambda _found: CountCell(cells.count(-1))),
    (re.compile(r"\d{10,}", re.ASCII), lambda _found: CountCell(cells.count(10**9))),
)


def cups(text: str) -> int | None:
    """The flies in so many cups."""
    bare = _bare(text)
    if bare in NOTHING:
        return None
    if not DECIMAL.fullmatch(bare) or not any(letter.isdigit() for letter in bare):
        raise WrongCell("not_a_number", NOT_CUPS)
    return flies_in(_decimal(bare))


def reason(text: str) -> str:
    bare = _bare(text)
    if bare in NOTHING:
        return ""
    found = REASONS.get(bare)
    if found is None:
        raise WrongCell("reason_unknown", NOT_A_REASON)
    return found


def part(text: str) -> Decimal:
    """0.25, 0,25, 1/4, 25 %; all of it where the cell is empty."""
    bare = _bare(text)
    if not bare:
        return Decimal(1)
    try:
        if found := QUOTIENT.fullmatch(bare.replace("\N{FRACTION SLASH}", "/")):
            return cells.part(Decimal(found[1]) / Decimal(found[2]))
        if found := PERCENT.fullmatch(bare):
            return cells.part(_decimal(found[1]) / 100)
        if DECIMAL.fullmatch(bare):
            return cells.part(_decimal(bare))
    except (InvalidOperation, ZeroDivisionError):
        pass
    raise WrongCell("not_a_number", NOT_A_PART)


def animals(text: str) -> tuple[int, ...] | None:
    bare = _bare(text)
    if bare in NOTHING:
        return None
    if not LIST.fullmatch(bare):
        raise WrongCell("not_a_number", NOT_A_LIST)
    return cells.animals([int(number) for number in re.split(r"[ ,;/|+]+", bare)])


def how(text: str) -> str:
    return _word(text, HOWS, "how_unknown", NOT_A_HOW) or ""


def yes_or_no(text: str) -> bool | None:
    bare = _bare(text)
    if bare in NOTHING:
        return None
    if bare not in YES and bare not in NO:
        raise WrongCell("not_yes_or_no", NOT_YES_OR_NO)
    return bare in YES


def _word(text: str, known: Mapping[str, str], code: str, otherwise: Any) -> str | None:
    bare = _bare(text)
    if not bare:
        return None
    if bare not in known:
        raise WrongCell(code, otherwise)
    return known[bare]


def moment_of_day(text: str) -> time | None:
    """07:30, 7.30, 7:30 am."""
    bare = _bare(text)
    if not bare:
        return None
    found = CLOCK.fullmatch(bare)
    try:
        if found:
            hour, half = int(found[1]), (found[3] or " ")[0]
            return time(hour if half == " " else hour % 12 + (12 if half == "p" else 0), int(found[2]))
    except ValueError:
        pass
    raise WrongCell("not_a_time", NOT_A_TIME)


def small_number(check: Callable[[Any], int], absent: int | None) -> Callable[[str], int | None]:
    """A whole number that a check of monitoring.rules.cells takes."""

    def parse(text: str) -> int | None:
        bare = text.strip()
        if not bare:
            return absent
        if not WHOLE.fullmatch(bare):
            raise WrongCell("not_a_number", NOT_WHOLE)
        return check(_whole(bare))

    return parse


def identity(text: str) -> str | None:
    return cells.identity(text.strip()) if text.strip() else None


def station(text: str) -> Any:
    return cells.station(text.strip()) if text.strip() else None
