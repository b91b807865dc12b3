"""What would tell, in one plain sentence, where a work's effect can't be told or isn't clear."""

from datetime import timedelta
from typing import TYPE_CHECKING

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from alerts.wording.numbers import day_phrase

if TYPE_CHECKING:
    from monitoring.selectors.work_effects import Needed, WorkEffect

# What no reckoning is needed for.
ANOTHER_TIME: dict[str, Promise] = {
    "too_few": gettext_lazy("Another time: two weeks of counts at least before it and two after."),
    "overtaken": gettext_lazy("Another time: leave three weeks between two works in one place."),
    "together": gettext_lazy("Another time: leave three weeks between two works in one place."),
    "few_caught": gettext_lazy("It takes about nine a week on all cards or traps of a place to tell anything."),
    "no_other_place": gettext_lazy("A barn or lot that is counted and left as it is would tell."),
    "no_comparison": gettext_lazy("A barn or lot that is counted and left as it is for some weeks would tell."),
}
TIMES_AS_MANY: dict[tuple[str, int], Promise] = {
    ("card", 2): gettext_lazy("twice as many cards"),
    ("card", 3): gettext_lazy("three times as many cards"),
    ("card", 4): gettext_lazy("four times as many cards"),
    ("trap", 2): gettext_lazy("twice as many traps"),
    ("trap", 3): gettext_lazy("three times as many traps"),
    ("trap", 4): gettext_lazy("four times as many traps"),
    ("leg", 2): gettext_lazy("twice as many animals"),
    ("leg", 3): gettext_lazy("three times as many animals"),
    ("leg", 4): gettext_lazy("four times as many animals"),
}


def needed_sentence(effect: "WorkEffect") -> str:
    """A fall by half would show with about two more weeks of counts. Empty where nothing more is needed."""
    if effect.reason == "too_early":
        return _by_when(effect)
    if effect.reason in ANOTHER_TIME:
        return str(ANOTHER_TIME[effect.reason])
    return "" if effect.needed is None else _more(effect.needed, effect.method or "card")


def _by_when(effect: "WorkEffect") -> str:
    """By about July 20 a fall by half would show, if counting goes on."""
    if effect.needed is None or effect.settled_on is None:
        return ""
    if not effect.needed.weeks:
        return _more(effect.needed, effect.method or "card")
    day = effect.settled_on + timedelta(weeks=effect.needed.weeks)
    return _("By about {day} a fall by half would show, if counting goes on.").format(day=day_phrase(day))


def _more(needed: "Needed", method: str) -> str:
    change = _("a fall by half") if needed.is_half else _("a change of this size")
    if needed.weeks:
        words = ngettext(
            "About {weeks} more week of counts would tell {change}.",
            "About {weeks} more weeks of counts would tell {change}.",
            needed.weeks,
        )
        return words.format(weeks=needed.weeks, change=change)
    if needed.times == 1:
        return _("Another time, four weeks of counts before it and four after would tell {change}.").format(
            change=change
        )
    if needed.times:
        words = _("Another time, four weeks of counts before and after with {more} would tell {change}.")
        return words.format(more=TIMES_AS_MANY[(method, needed.times)], change=change)
    words = _(
        "Even four times as many would hardly tell {change} here; another barn or lot that is counted would help."
    )
    return words.format(change=change)
