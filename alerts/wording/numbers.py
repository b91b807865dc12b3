"""Numbers and days as people say them."""

import math
from datetime import date
from functools import lru_cache

from django.utils.formats import date_format, number_format
from django.utils.translation import get_language, pgettext
from django.utils.translation import gettext as _

from farms.showing import DaysForm, shown

# How a day is written where its reader chose a form: as "a day", in few letters, and with its weekday.
FORMS: dict[str, tuple[str, str, str]] = {
    DaysForm.DAY_FIRST: ("j F", "j M", "l j F"),
    DaysForm.MONTH_FIRST: ("F j", "M j", "l, F j"),
    DaysForm.ISO: ("Y-m-d", "Y-m-d", "l, Y-m-d"),
}


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
    form = FORMS.get(shown().days)
    return date_format(day, form[2] if form else pgettext("a day with its weekday", "l, F j"))


# The same few days are written many hundred times in a group's mails, in the language that is active.
@lru_cache(maxsize=512)
def _day_phrase(day: date, _language: str | None, days: str) -> str:
    return date_format(day, FORMS[days][0] if days in FORMS else pgettext("a day", "F j"))


@lru_cache(maxsize=512)
def _day_label(day: date, _language: str | None, days: str) -> str:
    return date_format(day, FORMS[days][1] if days in FORMS else pgettext("a day in few letters", "M j"))


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
