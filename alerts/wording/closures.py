"""How a time without visits is told: since when, until when, of the farm or of its whole region."""

from datetime import date
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from alerts.wording.numbers import day_phrase

if TYPE_CHECKING:
    from farms.closures import Closure


def closure_sentence(closure: "Closure", today: date) -> str:
    """Closed to visits since June 1. The whole region is closed to visits from June 8 on. Open again from June 20."""
    day = day_phrase(closure.from_on)
    if closure.whole_region:
        since, ahead = (
            _("The whole region is closed to visits since {day}."),
            _("The whole region is closed to visits from {day} on."),
        )
    else:
        since, ahead = _("Closed to visits since {day}."), _("Closed to visits from {day} on.")
    told = (since if closure.from_on <= today else ahead).format(day=day)
    if closure.open_from is None:
        return told
    return told + " " + _("Open again from {day}.").format(day=day_phrase(closure.open_from))


def call_instead() -> str:
    """What is to be done about a farm that is closed to visits, in a line of the Monday list."""
    return _("call, don't visit")
