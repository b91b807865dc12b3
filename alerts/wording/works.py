"""What became of the counts after a work, in words: never praise, never blame, and why, where nothing can be told."""

from collections.abc import Mapping
from datetime import timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext

from alerts.wording.numbers import day_phrase
from alerts.wording.places import facility_phrase
from alerts.wording.results import heading
from alerts.wording.temperatures import degrees

if TYPE_CHECKING:
    from farms.models import Facility
    from monitoring.selectors.work_effects import WorkEffect

ALONE = "no_comparison"
MINUS = "\N{MINUS SIGN}"
MOST_NAMED = 3  # of what was done at the same time
MOST_TOLD = 11.0  # times as many: 1000 % more
LONGEST_BACK = 12  # weeks: no pace of flies lasts a season
NOT_TOLD: dict[str, Promise] = {
    "too_early": gettext_lazy("Since then: too early to tell."),
    "too_few": gettext_lazy("Since then: can't tell, too few counts before or after it."),
    "few_caught": gettext_lazy("Since then: can't tell, too few flies were counted before it."),
    "no_other_place": gettext_lazy(
        "Since then: can't tell. Wasps show only against a barn or lot without them that is counted too."
    ),
    "overtaken": gettext_lazy("Since then: can't tell, the next work came before there were two weeks of counts."),
    "not_counted": gettext_lazy("Since then: can't tell, nothing is counted there."),
    "nothing_caught": gettext_lazy("Since then: can't tell, there was nothing to count before or after it."),
}


def since_then(effect: "WorkEffect", facilities: Mapping[UUID, "Facility"]) -> list[str]:
    """Since then about half as many as the other barns would lead to expect (a third to three quarters)."""
    if effect.together_with:
        return _together(effect, facilities)
    if effect.ratio is None or effect.low is None or effect.high is None:
        return [str(NOT_TOLD[effect.reason])]
    weather = _weather(effect)
    if effect.reason == ALONE and weather:
        return [_("Since then: can't tell. There are fewer, but nothing to compare it with."), weather]
    said = [_told(effect, effect.ratio, share_range(effect.low, effect.high), facilities)]
    if effect.reason == ALONE:
        said.append(_("There is nothing to compare it with, so weather may have done it."))
    said.append(weather)
    if effect.at_least:
        said.append(_("Some had too many to count, so take this as rough."))
    return [each for each in said if each]


def _together(effect: "WorkEffect", facilities: Mapping[UUID, "Facility"]) -> list[str]:
    """Can't tell it apart from what else was done there then: bedding change, June 20. Of all of it together: ..."""
    named = [f"{deed.label}, {day_phrase(deed.begins_on)}" for deed in effect.together_with[:MOST_NAMED]]
    if len(effect.together_with) > MOST_NAMED:
        named.append(_("and more"))
    said = [
        _("Since then: can't tell it apart from what else was done there at about that time ({others}).").format(
            others="; ".join(named)
        )
    ]
    return said if effect.joint is None else [*said, _("Of all of it together:"), *since_then(effect.joint, facilities)]


def _told(effect: "WorkEffect", ratio: float, between: str, facilities: Mapping[UUID, "Facility"]) -> str:
    expected = _("before it") if effect.reason == ALONE else _others(effect, facilities)
    if effect.low is not None and effect.high is not None and effect.low < 1 < effect.high:
        words = (
            _("Since then no clear change ({between}).")
            if effect.reason == ALONE
            else _("Since then no clear difference from what {expected} ({between}).")
        )
        return words.format(expected=expected, between=between)
    return _("Since then {share} {expected} ({between}).").format(
        share=share_phrase(ratio), expected=expected, between=between
    )


def _others(effect: "WorkEffect", facilities: Mapping[UUID, "Facility"]) -> str:
    """The heifer barn would lead to expect; the other barns, where there are several; or the region."""
    if effect.with_region:
        return _("the region's published weeks would lead to expect")
    if len(effect.compared_with) == 1 and effect.compared_with[0] in facilities:
        place = facility_phrase(facilities[effect.compared_with[0]])
        return _("{place} would lead to expect").format(place=place)
    return _("the other barns and lots would lead to expect")


def _weather(effect: "WorkEffect") -> str:
    """A fall in very hot or cold weeks is not told as the work's."""
    if effect.ratio is None or effect.ratio >= 1:
        return ""
    words = {
        "hot": _("It was very hot in these weeks, which keeps counts low by itself."),
        "cold": _("It was below {cold} in these weeks, which keeps counts low by itself.").format(cold=degrees(15)),
    }
    return words.get(effect.weather, "")


def how_told(effect: "WorkEffect") -> str:
    """Cards, 4 weeks before and 3 after; -52 % (-70 to -23 %). Empty where nothing could be told."""
    if effect.joint is not None:
        return how_told(effect.joint)
    if effect.ratio is None or effect.low is None or effect.high is None or effect.method is None:
        return ""
    words = _("{method}, {before} weeks before and {after} after: {change} % ({low} to {high} %).")
    numbers = {name: percent_phrase(value) for name, value in
               (("change", effect.ratio), ("low", effect.low), ("high", effect.high))}  # fmt: skip
    told = words.format(
        method=heading(effect.method), before=effect.weeks_before, after=effect.weeks_after, **numbers
    )  # fmt: skip
    if effect.until is not None:
        told += " " + _("Looked at until {day}, the day of the next work there.").format(day=day_phrase(effect.until))
    return told


def percent_phrase(ratio: float) -> str:
    """+20; -52, with a minus sign; what is more than eleven times as many is told as that."""
    if ratio > MOST_TOLD:
        return _("more than +1000")
    change = round(100 * (ratio - 1))
    return f"{change:+d}".replace("-", MINUS) if change else "0"


def share_phrase(ratio: float) -> str:
    """About half as many as; about a third more than."""
    phrases = (
        (0.07, _("less than a tenth as many as")),
        (0.15, _("about a tenth as many as")),
        (0.225, _("about a fifth as many as")),
        (0.29, _("about a quarter as many as")),
        (0.42, _("about a third as many as")),
        (0.58, _("about half as many as")),
        (0.71, _("about two thirds as many as")),
        (0.87, _("about three quarters as many as")),
        (1.15, _("about as many as")),
        (1.42, _("about a third more than")),
        (1.75, _("about half as many again as")),
        (2.5, _("about twice as many as")),
        (4.0, _("about three times as many as")),
    )
    return next((phrase for below, phrase in phrases if ratio < below), _("more than four times as many as"))


def share_range(low: float, high: float) -> str:
    """A third to three quarters."""
    lower, higher = _share(low), _share(high)
    if lower == higher:
        return pgettext("a share, the same at both ends", "about {share}").format(share=lower)
    return pgettext("from one share to another", "{low} to {high}").format(low=lower, high=higher)


def _share(ratio: float) -> str:
    phrases = (
        (0.07, pgettext("a share", "next to none")),
        (0.15, pgettext("a share", "a tenth")),
        (0.225, pgettext("a share", "a fifth")),
        (0.29, pgettext("a share", "a quarter")),
        (0.42, pgettext("a share", "a third")),
        (0.58, pgettext("a share", "half")),
        (0.71, pgettext("a share", "two thirds")),
        (0.87, pgettext("a share", "three quarters")),
        (0.95, pgettext("a share", "a little fewer")),
        (1.05, pgettext("a share", "as many")),
        (1.15, pgettext("a share", "a little more")),
        (1.42, pgettext("a share", "a third more")),
        (1.75, pgettext("a share", "half as many again")),
        (2.5, pgettext("a share", "twice as many")),
        (4.0, pgettext("a share", "three times as many")),
        (7.0, pgettext("a share", "five times as many")),
    )
    return next(
        (phrase for below, phrase in phrases if ratio < below), pgettext("a share", "ten times as many or more")
    )


def back_phrase(days: float) -> str:
    """At the pace before it they would be back after about three weeks."""
    weeks = max(1, round(timedelta(days=days) / timedelta(weeks=1)))
    if weeks > LONGEST_BACK:
        return ""
    words = {
        1: _("At the pace before it, counts would be back where they were after about a week."),
        2: _("At the pace before it, counts would be back where they were after about two weeks."),
        3: _("At the pace before it, counts would be back where they were after about three weeks."),
    }
    later = _("At the pace before it, counts would be back where they were after about {weeks} weeks.")
    return words.get(weeks, later).format(weeks=weeks)
