"""The day from which something holds on a farm: kept organic, cards kept elsewhere. Pure functions."""

from datetime import date, timedelta

from django.utils.translation import gettext_lazy as _

from farms.errors import Detail
from monitoring.rules.cells import FIRST_DAY, YEAR_CUT

AHEAD = timedelta(days=366)
TOO_FAR = _("This is more than a year ahead. Check the day and its year.")


def from_day_faults(from_on: date, today: date) -> list[Detail]:
    """A day whose year was cut, or that is too far ahead."""
    if from_on < FIRST_DAY:
        return [Detail("/from_on", str(YEAR_CUT), "not_a_day")]
    return [Detail("/from_on", str(TOO_FAR), "too_far")] if from_on > today + AHEAD else []
