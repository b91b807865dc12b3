"""One result in words: the mean and how sure it is, where it stands against its level, where it is going."""

from collections.abc import Iterable
from functools import cache
from typing import Protocol

from django.utils.translation import get_language, gettext_lazy
from django.utils.translation import gettext as _

from alerts.models import Assessment
from alerts.models.assessment import LevelWord
from alerts.wording.numbers import amount
from alerts.wording.outlook import over_chance_phrase
from alerts.wording.places import and_list
from monitoring.methods import METHODS


class WeeksResult(Protocol):
    """What a sentence about a mean asks of a result, or of what was read of one."""

    @property
    def method(self) -> str: ...
    @property
    def mean(self) -> float | None: ...
    @property
    def low(self) -> float | None: ...
    @property
    def high(self) -> float | None: ...
    @property
    def at_least(self) -> bool: ...
    @property
    def level(self) -> float | None: ...
    @property
    def result(self) -> str: ...


HEADINGS = {"card": gettext_lazy("Cards"), "trap": gettext_lazy("Traps"), "leg": gettext_lazy("Legs")}


def heading(method: str) -> str:
    """Cards, Traps, Legs: the farm's words."""
    return _headings(get_language())[method]


@cache
def _headings(_language: str | None) -> dict[str, str]:
    """In the active language; a list of 300 farms asks a thousand times."""
    return {method: str(words) for method, words in HEADINGS.items()}


def methods_phrase(rows: Iterable[Assessment]) -> str:
    """The methods of some results within a sentence, each once: cards and traps."""
    return and_list(list(dict.fromkeys(heading(row.method).lower() for row in rows)))


def mean_phrase(row: WeeksResult) -> str:
    """118 specks a card (98 to 142)."""
    if row.mean is None:
        return _("no count")
    told = f"{amount(row.mean, beside=row.level)} {METHODS[row.method].unit}"
    if row.at_least:
        return _("at least {mean}").format(mean=told)
    if row.low is None or row.high is None:
        return told
    return _("{mean} ({low} to {high})").format(mean=told, low=amount(row.low), high=amount(row.high))


def level_phrase(row: WeeksResult) -> str:
    """Over your action level of 100; empty where nothing was counted or there is no level."""
    if row.level is None or row.result == LevelWord.NONE:
        return ""
    level = amount(row.level)
    if row.result == LevelWord.OVER:
        at_least = METHODS[row.method].comparison == "at_least"
        words = _("At or over your action level of {level}") if at_least else _("Over your action level of {level}")
    elif row.result == LevelWord.NEAR:
        words = _("Near your action level of {level}")
    else:
        words = _("Below your action level of {level}")
    return words.format(level=level)


def doubt_phrase(row: Assessment) -> str:
    """How sure the comparison with the level is, where it isn't sure; else empty."""
    if row.mean is None or row.level is None:
        return ""
    if row.result != LevelWord.OVER and row.at_least:
        return _("Some had too many to count, so there may be more than this.")
    if row.result == LevelWord.OVER and row.low is not None and row.low < row.level:
        return " ".join((_("Not certain: the range reaches below it."), over_chance_phrase(row))).strip()
    if row.result != LevelWord.OVER and row.high is not None and row.high > row.level:
        return " ".join((_("Not certain: the range reaches over it."), over_chance_phrase(row))).strip()
    return ""


def against_level(row: Assessment) -> str:
    """, level 100."""
    return _(", level {level}").format(level=amount(row.level)) if row.level is not None else ""


def weeks_up_phrase(weeks: int) -> str:
    """Third week up; nothing to say of the first."""
    if weeks < 2:
        return ""
    phrases = {2: _("second week up"), 3: _("third week up"), 4: _("fourth week up"), 5: _("fifth week up")}
    return phrases.get(weeks) or _("up for {weeks} weeks").format(weeks=weeks)
