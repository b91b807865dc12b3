"""What the scripts of a round say, in the page's language. Names in braces or %(name)s are filled in by the script."""

from typing import TYPE_CHECKING, Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from alerts.wording import amount
from server.web.forms.count import WHOLE_NUMBER
from server.web.words import exposure_of, level_name, share_of_card, whole

if TYPE_CHECKING:
    from monitoring.models import Reading


def words_of_round() -> dict[str, Any]:
    """The words of the steps and of the end."""
    return _words_of_steps() | {"end": _words_of_the_end()}


def _words_of_steps() -> dict[str, Any]:
    return {
        "where": _("{building} · {number} of {all}"),
        "entered": _("{station}: {count}."),
        "uncounted": _("{station}: no count, {reason}."),
        "hung": _("{station}: hung."),
        "last": _("Last time: {count}."),
        "left": [ngettext("{number} still open.", "{number} still open.", number) for number in (1, 2)],
        "none_left": _("Nothing is open any more."),
        "undone": _("{station}: taken back."),
        "jump": _("{count}? Last time: {last}."),
        "yes": _("Yes, {count}"),
        "an_animal": _("{mean} an animal"),
        "at_least": _("at least {count}"),
        "unreadable": str(WHOLE_NUMBER),
        "animal": _("Animal {number}"),
        "change_animal": _("Animal {number}: {count}. Change"),
        "more": _("Only a part, or too many to count"),
        "more_legs": _("More about it"),
        "states": {
            "open": _("open"),
            "counted": _("counted"),
            "hung": _("hung"),
            "wrong": _("can't be read"),
            "uncounted": _("no count: {reason}"),
        },
        "finish_open": _("Still open:"),
        "finish_wrong": _("These can't be read yet. Tap one to change it:"),
    }


def _words_of_the_end() -> dict[str, Any]:
    one, many = (
        ngettext("%(number)s without a count is left out.", "%(number)s without a count are left out.", number)
        for number in (1, 2)
    )
    return {
        "waits": _("The round waits on this phone"),
        "sends": _("It is sent when there is signal again. This is what it says:"),
        "go_on": [
            ngettext("Go on: %(number)s still open", "Go on: %(number)s still open", number) for number in (1, 2)
        ],
        "nothing": _("Nothing was counted, only hung. The first counts come with the next round."),
        "not_counted": _("not counted"),
        "action_level": _("action level"),
        "before": _("The round before, %(day)s: %(mean)s."),
        "missing": [one, many],
        "levels": {word: level_name(word) for word in ("below", "near", "over", "none")},
        "look": _("One place to look"),
        "holds": _("%(station)s in %(building)s holds the most."),
        "none_stands_out": _("No single place stands out. Highest against its action level is %(building)s."),
        "hatch": _("Where they may hatch there: %(where)s."),
        "by_itself": _("This is the round by itself. Monday's check puts it beside the weeks before."),
    }


def last_told(reading: "Reading") -> dict[str, str]:
    """A stored count in words, and the same with the days it hung, for where those differ from today's."""
    if reading.animals is not None:
        mean = amount((reading.count or 0) / len(reading.animals)) if reading.animals else ""
        told = _("{mean} an animal").format(mean=mean)
        return {"told": told, "told_days": told}
    told = whole(reading.count or 0)
    if reading.at_least:
        told = _("at least {count}").format(count=told)
    if reading.how == "part":
        told = f"{told}, {share_of_card(reading.fraction)}"
    return {"told": told, "told_days": f"{told} {exposure_of(reading)}" if reading.hung_on else told}
