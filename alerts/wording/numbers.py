"""Numbers and days as people say them."""

import math
import re
from datetime import date
from functools import lru_cache
from typing import NamedTuple

from django.utils.formats import date_format, number_format
from django.utils.translation import get_language, pgettext
from django.utils.translation import gettext as _

from farms.showing import DaysForm, shown


class Form(NamedTuple):
    """How a day is written: by itself, in few letters, with its weekday; the last two with the year as well."""

    day: str
    label: str
    weekday: str
    label_year: str
    weekday_year: str


# Where its reader chose a form; else as the language has it.
FORMS: dict[str, Form] = {
    DaysForm.DAY_FIRST: Form("j F", "j M", "l j F", "j M Y", "l j F Y"),
    DaysForm.MONTH_FIRST: Form("F j", "M j", "l, F j", "M j, Y", "l, F j, Y"),
    DaysForm.ISO: Form("Y-m-d", "Y-m-d", "l, Y-m-d", "Y-m-d", "l, Y-m-d"),
}
_DAY_OR_MONTH = re.compile("[jFMb]")


def amount(value: float, *, beside: float | None = None) -> str:
    """A mean in whole numbers from ten up, else with one decimal.

    `beside` is the action level it is told with: 100.4 over a level of 100 is not told as 100, but as 100.4.
    """
    decimals = 0 if value >= 10 or value == int(value) else 1
    while beside is not None and decimals < 3 and round(value, decimals) == beside != value:
        decimals += 1
    return number_format(round(value, decimals), decimals, use_l10n=True, force_grouping=True)


def day_phrase(day: date) -> str:
    """June 29; 29 de junio."""
    return _day_phrase(day, get_language(), shown().days)


def day_label(day: date) -> str:
    """Jun 29; 29 jun."""
    return _day_label(day, get_language(), shown().days)


def weekday_phrase(day: date) -> str:
    """Sunday, July 12; domingo 12 de julio."""
    return _weekday_phrase(day, get_language(), shown().days)


def dated_label(day: date) -> str:
    """Jun 29, 2026; 29 jun 2026."""
    return _dated_label(day, get_language(), shown().days)


def dated_weekday_phrase(day: date) -> str:
    """Sunday, July 12, 2026; domingo, 12 de julio de 2026."""
    usual = pgettext("a day with its weekday and year", "l, F j, Y")
    return _written(day, "weekday_year", usual, shown().days)


# The same few days are written many hundred times in a group's mails, in the language that is active.
@lru_cache(maxsize=512)
def _day_phrase(day: date, _language: str | None, days: str) -> str:
    return _written(day, "day", pgettext("a day", "F j"), days)


@lru_cache(maxsize=512)
def _day_label(day: date, _language: str | None, days: str) -> str:
    return _written(day, "label", pgettext("a day in few letters", "M j"), days)


@lru_cache(maxsize=512)
def _dated_label(day: date, _language: str | None, days: str) -> str:
    return _written(day, "label_year", pgettext("a day in few letters with its year", "M j, Y"), days)


@lru_cache(maxsize=512)
def _weekday_phrase(day: date, _language: str | None, days: str) -> str:
    return _written(day, "weekday", pgettext("a day with its weekday", "l, F j"), days)


def _written(day: date, how: str, usual: str, days: str) -> str:
    """In the chosen form; where the language has that order anyway, as it has it: 29 de junio, not 29 junio."""
    chosen = getattr(FORMS.get(days), how, usual)
    if _day_leads(chosen) == _day_leads(usual):
        chosen = usual
    # A language that writes its months small does so in every order.
    return date_format(day, chosen.replace("M", "b") if "b" in usual else chosen)


def _day_leads(form: str) -> bool | None:
    """Whether the day stands before the month's name; nothing where there is no name."""
    first = _DAY_OR_MONTH.search(form)
    return first and first[0] == "j"


def growth_phrase(growth: float) -> str:
    """Log growth a week as a share that can be pictured: "about a third more each week"."""
    if growth < 0:
        return _fall_phrase(1 - math.exp(growth))
    rise = math.expm1(growth)
    phrases = (
        (0.06, _("a little more each week")),
        (0.14, _("about a tenth more each week")),
        (0.22, _("about a fifth more each week")),
        (0.29, _("about a quarter more each week")),
        (0.42, _("about a third more each week")),
        (0.75, _("about half as many again each week")),
        (1.5, _("about twice as many each week")),
    )
    return next((phrase for below, phrase in phrases if rise < below), _("more than twice as many each week"))


def _fall_phrase(fall: float) -> str:
    phrases = (
        (0.06, _("a little less each week")),
        (0.14, _("about a tenth less each week")),
        (0.22, _("about a fifth less each week")),
        (0.29, _("about a quarter less each week")),
        (0.42, _("about a third less each week")),
    )
    return next((phrase for below, phrase in phrases if fall < below), _("about half or less each week"))
