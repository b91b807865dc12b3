"""Complaints: what may be noted of one, and of what was answered. Pure functions."""

from collections.abc import Mapping
from datetime import date

from django.utils.translation import gettext_lazy as _

from farms.errors import Detail
from monitoring.models.complaint import Came, SaidBy
from monitoring.rules.walk import day_faults, unknown_faults, words_faults

LONGEST = {"said": 2000, "sender": 200, "place": 200, "answered": 2000, "by": 200, "reason": 200}
HEARD_AHEAD = _("This day is still to come on this farm. Give the day on which it was said.")
ANSWERED_AHEAD = _("This day is still to come on this farm. Note an answer once it is given.")
ANSWERED_BEFORE = _("This day is before the complaint came, on {day}. Correct the day.")
SAYS_NOTHING = _("Write down what was said, in a few words.")
ANSWERS_NOTHING = _("Write down what was answered, in a few words.")


def complaint_faults(heard_on: date, kinds: Mapping[str, str], words: Mapping[str, str], today: date) -> list[Detail]:
    """What can't be right about a complaint. `kinds` has `came` and `said_by`."""
    faults = day_faults("heard_on", heard_on, today, HEARD_AHEAD)
    faults += unknown_faults("came", kinds["came"], Came.values) + unknown_faults(
        "said_by", kinds["said_by"], SaidBy.values
    )
    if not words["said"].strip():
        faults.append(Detail("/said", str(SAYS_NOTHING), "said_missing"))
    return faults + words_faults(words, LONGEST)


def answer_faults(answered_on: date, went: str, words: Mapping[str, str], heard_on: date, today: date) -> list[Detail]:
    """What can't be right about an answer to a complaint of a day."""
    faults = day_faults("answered_on", answered_on, today, ANSWERED_AHEAD)
    if not faults and answered_on < heard_on:
        sentence = str(ANSWERED_BEFORE).format(day=heard_on.isoformat())
        faults.append(Detail("/answered_on", sentence, "before_the_complaint"))
    faults += unknown_faults("went", went, Came.values)
    if not words["answered"].strip():
        faults.append(Detail("/answered", str(ANSWERS_NOTHING), "answered_missing"))
    return faults + words_faults(words, LONGEST)
