"""Which stations are very likely among the highest, as the farm's page says it beside their counts."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from alerts.wording import question_text

if TYPE_CHECKING:
    from alerts.selectors.station_effects import StationEffect

VERY_LIKELY = 0.85
# Nothing is as sure as ten in ten.
MOST_TENTHS = 9


@dataclass(frozen=True)
class Worst:
    """What is said of one station, and what to ask on the spot."""

    told: str
    question: str


def worst_of(stations: "Mapping[UUID, StationEffect]") -> dict[UUID, Worst]:
    """Those of which there is a reason to ask, by station."""
    return {
        station_id: Worst(worst_in_words(effect), question_text(effect.question))
        for station_id, effect in stations.items()
        if effect.question
    }


def worst_in_words(effect: "StationEffect") -> str:
    """Over eight weeks very likely (9 in 10) among the three highest; the highest for 3 weeks in a row."""
    values = {"tenths": min(round(10 * (effect.among_worst or 0.0)), MOST_TENTHS), "places": small_number(effect.worst)}
    if (effect.among_worst or 0.0) >= VERY_LIKELY:
        told = ngettext(
            "Over eight weeks very likely (9 in 10) the highest of all",
            "Over eight weeks very likely (9 in 10) among the {places} highest",
            effect.worst,
        )
    else:
        told = ngettext(
            "Over eight weeks likely ({tenths} in 10) the highest of all",
            "Over eight weeks likely ({tenths} in 10) among the {places} highest",
            effect.worst,
        )
    return f"{told.format(**values)}{_weeks(effect.weeks_at_top)}."


def _weeks(at_top: int) -> str:
    """; the highest count for 3 weeks in a row."""
    if at_top < 2:
        return ""
    return _("; the highest count for {weeks} weeks in a row").format(weeks=at_top)


def small_number(number: int) -> str:
    """two; twelve in figures."""
    words = {2: _("two"), 3: _("three"), 4: _("four"), 5: _("five"), 6: _("six")}
    return words.get(number, str(number))
