"""What a work that is noted may say. Pure functions."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.utils.translation import gettext_lazy as _

from farms.errors import Detail
from monitoring.models.work import WorkKind
from monitoring.rules.cells import WrongCell, day
from monitoring.rules.label import choice_faults

LONGEST_WORDS = 200
LONGEST = {"not_reached": 200, "species": 100, "batch": 60}
MOST_WASPS = 100_000_000
KIND_UNKNOWN = _("There is no such kind of work. Use one of: {kinds}.")
FUTURE = _("Only work that is done is noted, and this day is still to come on this farm. Correct the day.")
THOROUGH_ONLY = _("Only a clean-out is thorough or not. Leave this empty for other work.")
UNREACHED_ONLY = _("Only of a clean-out it is noted what could not be reached. Leave this empty for other work.")
WASPS_ONLY = _("Only parasitic wasps that were released have this. Leave it empty for other work.")
NOBODY = _("No wasps, or more than can be meant. Give their number, or leave it empty where nobody counted.")
TOO_LONG = _("This is longer than {most} characters. Say it shorter.")
NO_TEXT = _("This holds characters that are no text. Type it again, on one line.")
WHY_MISSING = _("Say why, in a few words: it stays on record.")
# Which kind of work each of these belongs to, and what is said where it is given for another.
OF_KIND = {
    "thorough": (WorkKind.CLEAN_OUT, THOROUGH_ONLY, "thorough_only_of_a_clean_out"),
    "not_reached": (WorkKind.CLEAN_OUT, UNREACHED_ONLY, "only_of_a_clean_out"),
    "species": (WorkKind.WASPS, WASPS_ONLY, "only_of_wasps"),
    "number": (WorkKind.WASPS, WASPS_ONLY, "only_of_wasps"),
    "batch": (WorkKind.WASPS, WASPS_ONLY, "only_of_wasps"),
}


def day_faults(done_on: date, today: date) -> list[Detail]:
    """What can't be right about the day on which something was done."""
    try:
        if day(done_on) > today:
            return [Detail("/done_on", str(FUTURE), "future_date")]
    except WrongCell as error:
        return [Detail("/done_on", str(error.reason), error.code)]
    return []


def kind_faults(kind: str, kinds: list[str]) -> list[Detail]:
    return choice_faults("kind", kind, kinds, KIND_UNKNOWN)


def facts_faults(kind: str, facts: Mapping[str, Any]) -> list[Detail]:
    """What can't be right about facts that belong to one kind of work each (see `OF_KIND`); None says nothing."""
    given = {name: value for name, value in facts.items() if value is not None}
    wrong = [(name, *OF_KIND[name][1:]) for name in given if kind != OF_KIND[name][0]]
    faults = [Detail(f"/{name}", str(says), code) for name, says, code in wrong]
    for name, most in LONGEST.items():
        faults += words_faults(name, given.get(name), most)
    number = given.get("number")
    if number is not None and not 1 <= number <= MOST_WASPS:
        faults.append(Detail("/number", str(NOBODY), "number_out_of_range"))
    return faults


def words_faults(name: str, words: str | None, most: int = LONGEST_WORDS) -> list[Detail]:
    """What can't be right about one line of words that may be left away."""
    if not words:
        return []
    if len(words) > most:
        return [Detail(f"/{name}", str(TOO_LONG).format(most=most), "text_too_long")]
    return [] if words.isprintable() else [Detail(f"/{name}", str(NO_TEXT), "not_text")]


def why_faults(why: str) -> list[Detail]:
    """What can't be right about a reason, which has to be there."""
    return words_faults("why", why) if why else [Detail("/why", str(WHY_MISSING), "why_missing")]
