"""A region's week in words: how far from its own normal first, since counts of different dairies don't compare.

What isn't told has one mark, whatever the reason: which reason it was would tell of the farms behind it.
"""

import math
from typing import Protocol

from django.apps import apps
from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from alerts.wording.numbers import amount, growth_phrase
from alerts.wording.results import heading
from monitoring.methods import METHODS
from monitoring.regional.cohort import REST

NOT_TOLD = gettext_lazy("not told")
AS_USUAL = (0.95, 1.05)  # times the own normal; our own choice of what is called "about as usual"
# A region's word as the mark of a level, the same as on a farm's page.
LEVELS = {"low": "below", "middle": "near", "high": "over"}


class RegionsWeek(Protocol):
    """What is asked of a region report of one method, week and part."""

    method: str
    disclosure: str
    contributors: str
    mean: float | None
    middle: float | None
    share_over: float | None
    share_rising: float | None
    normal: float | None
    normal_middle: float | None
    normal_share: float | None
    growth: float | None
    growth_low: float | None
    growth_high: float | None
    usual_normal_low: float | None
    usual_normal_high: float | None
    word: str
    level: float | None


def level_of(report: RegionsWeek | None) -> str:
    """below, near or over, for the mark beside a sentence; "" where nothing is told."""
    return LEVELS.get(report.word, "") if report is not None and report.disclosure != "nothing" else ""


def ratio(value: float) -> str:
    """1.3; 0.75; 12: what was published in two figures."""
    decimals = 0 if value >= 10 else 1 if value >= 1 else 2
    shown = number_format(round(value, decimals), decimals, use_l10n=True)
    return shown[:-1] if decimals == 2 and shown.endswith("0") else shown


def normal_phrase(report: RegionsWeek | None) -> str:
    """Above their own normal: 1.3 times it."""
    if report is None or report.normal is None:
        return ""
    low, high = AS_USUAL
    if report.normal > high:
        words = _("Above their own normal: {ratio} times it.")
    elif report.normal < low:
        words = _("Below their own normal: {ratio} times it.")
    else:
        words = _("At about their own normal: {ratio} times it.")
    return words.format(ratio=ratio(report.normal))


def normal_sentences(report: RegionsWeek) -> list[str]:
    """What goes with it: the middle third, how many are above, and the band of this time of the year."""
    told = []
    if report.normal_middle is not None:
        told.append(_("In the middle third: {ratio} times.").format(ratio=ratio(report.normal_middle)))
    if report.normal_share is not None:
        told.append(_("Above their own: {share}.").format(share=tenths(report.normal_share)))
    if report.normal is not None and report.usual_normal_low is not None and report.usual_normal_high is not None:
        told.append(_usual(report.normal, report.usual_normal_low, report.usual_normal_high))
    return told


def _usual(normal: float, low: float, high: float) -> str:
    if normal > high:
        words = _("At this time of the year {low} to {high} times is usual here, so this is more than in other years.")
    elif normal < low:
        words = _("At this time of the year {low} to {high} times is usual here, so this is less than in other years.")
    else:
        words = _("At this time of the year {low} to {high} times is usual here, so this is as in other years.")
    return words.format(low=ratio(low), high=ratio(high))


def mean_phrase(report: RegionsWeek) -> str:
    """Mean 84 specks a card, of the middle third 80; action level 100."""
    if report.mean is None:
        return ""
    unit = METHODS[report.method].unit
    told = _("Mean {mean} {unit}").format(mean=amount(report.mean), unit=unit)
    if report.middle is not None:
        told += _(", of the middle third {mean}").format(mean=amount(report.middle))
    return told + (_("; action level {level}").format(level=amount(report.level)) if report.level else "") + "."


def shares_phrase(report: RegionsWeek) -> str:
    """Over the action level: about 3 in 10 owners. Rising: not told."""
    told = _("Over the action level: {over}. Rising: {rising}.")
    return told.format(over=share_phrase(report.share_over), rising=share_phrase(report.share_rising))


def share_phrase(share: float | None) -> str:
    """About 3 in 10 owners, or the mark."""
    return str(NOT_TOLD) if share is None else tenths(share)


def tenths(share: float) -> str:
    return _("about {tenths} in 10 owners").format(tenths=round(share * 10))


def word_phrase(report: RegionsWeek) -> str:
    """Middle: from two thirds of the action level of 100 up to it."""
    if report.word == "low":
        words = _("Low: under two thirds of the action level{level}.")
    elif report.word == "middle":
        words = _("Middle: from two thirds of the action level{level} up to it.")
    elif METHODS[report.method].comparison == "at_least":
        words = _("High: at or over the action level{level}.")
    else:
        words = _("High: over the action level{level}.")
    return words.format(level=_(" of {level}").format(level=amount(report.level)) if report.level else "")


def word_name(word: str) -> str:
    """low, middle or high."""
    return {"low": _("low"), "middle": _("middle"), "high": _("high")}.get(word, str(NOT_TOLD))


def is_rising(report: RegionsWeek | None) -> bool:
    """Whether the whole interval of its growth lies above a standstill."""
    return report is not None and report.growth_low is not None and report.growth_low > 0


def growth_words(report: RegionsWeek | None) -> str:
    """Rising: about a fifth more each week (10 to 30 % more). Can't tell where the interval holds a standstill."""
    if report is None or report.growth is None or report.growth_low is None or report.growth_high is None:
        return str(NOT_TOLD)
    low, high = report.growth_low, report.growth_high
    phrase = growth_phrase(math.log1p(max(report.growth, -0.99)))
    if low > 0:
        words = _("rising, {phrase} ({low} to {high} more)")
        return words.format(phrase=phrase, low=_points(low), high=_percent(high))
    if high < 0:
        words = _("falling, {phrase} ({low} to {high} less)")
        return words.format(phrase=phrase, low=_points(-high), high=_percent(-low))
    words = _("can't tell (from {low} less to {high} more each week)")
    return words.format(low=_percent(-low), high=_percent(high))


def _points(share: float) -> str:
    return number_format(round(share * 100), 0)


def _percent(share: float) -> str:
    # Put in and not written into the sentences: a % in them is read as a place by the tools for translations.
    return f"{_points(share)}\N{NO-BREAK SPACE}%"


def housing_phrase(part: str) -> str:
    """Calf barn; all other housing."""
    if part == REST:
        return _("all other housing")
    kinds = dict(apps.get_model("farms.Facility")._meta.get_field("kind").flatchoices)
    return str(kinds.get(part, part))


def headline(report: RegionsWeek | None, method: str) -> str:
    """Cards 1.3 times their own normal; cards high; "" where nothing is told."""
    what = heading(method)
    if report is None or report.disclosure == "nothing":
        return ""
    if report.normal is not None:
        told = _("{what} {ratio} times their own normal").format(what=what, ratio=ratio(report.normal))
        return _("{told}, rising").format(told=told) if is_rising(report) else told
    words = {"low": _("{what} low"), "middle": _("{what} middle"), "high": _("{what} high")}
    return words[report.word].format(what=what) if report.word in words else ""


def why_own_normal() -> str:
    """Why the page does not lead with a mean."""
    return _(
        "Raw counts of different dairies should not be compared: cards and traps hang differently on every farm, "
        "beside milk, in the wind, in the sun, and counts show how active flies are there. That is why the "
        "distance from the own normal comes first, and the mean after it."
    )


def how_to_read() -> list[str]:
    """What the figures are, and what they are not."""
    return [
        _(
            "Own normal: what a farm itself had in the weeks before, up to a year back. Each farm is held against its "
            "own, and the region's figure is the mean of how far they are from it: 1 is as usual, 2 is twice the usual."
        ),
        why_own_normal(),
        _(
            "The middle third: the owners left when the third with the lowest counts and the third with the highest "
            "are set aside. Its mean is little moved by one farm with very many flies."
        ),
        _(
            "Growth: how the farms together changed from week to week. The range is where it lies in 19 of 20 cases. "
            "Where the range holds both less and more, nobody can tell yet."
        ),
        _("The band in a chart: what was usual here at this time of the year, once earlier years are known."),
        _("A week that isn't told is a gap in a chart and never a zero."),
    ]


def why_not_told() -> str:
    """All reasons for the one mark, together: which one it was is never said."""
    return _(
        "“Not told” stands for every reason alike, so that nothing can be learnt from it: too few owners counted; one "
        "of them weighs too much; two who lay their numbers together could work out a third; almost all or almost none "
        "are over a level; some left within the quarter; it is too early for a normal of their own; or the week's "
        "report is still being checked."
    )


def cautions() -> list[str]:
    """Where a region's page leads to work: what always holds."""
    return [
        _("Many flies in the region are a reason to look at your own farm, not to spray: look first where they hatch."),
        _(
            "Before anything is sprayed, poured on or laid out as bait, the label, local rules and people with the "
            "licence for it decide; keep it from children, animals, feed and milk."
        ),
    ]
