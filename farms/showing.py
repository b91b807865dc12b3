"""How a reader is shown temperatures and days: as they chose, else as is usual where the farm lies.

What holds for a page or a mail stands in a context variable, as the active language does, so that no sentence needs it
handed down.
"""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _
from django.utils.translation import override

if TYPE_CHECKING:
    from farms.models import User

CELSIUS, FAHRENHEIT = "C", "F"
DEGREES_AS_USUAL = DAYS_AS_USUAL = ""


class DaysForm(TextChoices):
    """How a day is written; left empty, as the reader's language has it."""

    DAY_FIRST = "day_first", _("day first")
    MONTH_FIRST = "month_first", _("month first")
    ISO = "iso", _("year-month-day")


# The IANA zones of the United States, where thermometers show Fahrenheit (from memory; a test asks the tz database).
# Nobody says in which country a group works, so its farms' time zones stand for it.
_IN_FAHRENHEIT = frozenset(
    f"America/{place}"
    for place in (
        "Adak", "Anchorage", "Boise", "Chicago", "Denver", "Detroit", "Indiana/Indianapolis", "Indiana/Knox",
        "Indiana/Marengo", "Indiana/Petersburg", "Indiana/Tell_City", "Indiana/Vevay", "Indiana/Vincennes",
        "Indiana/Winamac", "Juneau", "Kentucky/Louisville", "Kentucky/Monticello", "Los_Angeles", "Menominee",
        "Metlakatla", "New_York", "Nome", "North_Dakota/Beulah", "North_Dakota/Center", "North_Dakota/New_Salem",
        "Phoenix", "Sitka", "Yakutat",
    )
) | {"Pacific/Honolulu"}  # fmt: skip


@dataclass(frozen=True)
class Shown:
    """In which degrees temperatures are told, and in which form days: "" as the language has them."""

    degrees: str = CELSIUS
    days: str = DAYS_AS_USUAL


UNASKED = Shown()
_SHOWN: ContextVar[Shown] = ContextVar("shown", default=UNASKED)


def shown() -> Shown:
    """What holds now."""
    return _SHOWN.get()


def usual_degrees(zone: str) -> str:
    """The degrees of the place whose time zone this is; Celsius where it is not known."""
    return FAHRENHEIT if zone in _IN_FAHRENHEIT else CELSIUS


def chosen(degrees: str, days: str, zone: str = "") -> Shown:
    """What somebody chose; where they left the degrees open, those that are usual in a time zone."""
    return Shown(degrees or usual_degrees(zone), days)


def shown_to(user: "User", zone: str = "") -> Shown:
    """What a user chose, about a place in this time zone."""
    return chosen(user.degrees, user.days, zone)


@contextmanager
def showing(how: Shown) -> Iterator[None]:
    """Tell temperatures and days so for a while."""
    token = _SHOWN.set(how)
    try:
        yield
    finally:
        _SHOWN.reset(token)


@contextmanager
def told_to(user: "User", zone: str = "") -> Iterator[None]:
    """Tell everything as a user reads it: their language, their degrees, their form of days."""
    with ExitStack() as kept:
        kept.enter_context(override(user.language))
        kept.enter_context(showing(shown_to(user, zone)))
        yield
