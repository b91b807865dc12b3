"""From egg to fly at a farm's temperatures: how many days, which dates, and how often a clean-out still comes in time.

Always as ranges: what is known of maggots allows no more.
"""

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from alerts.wording.numbers import day_phrase
from alerts.wording.temperatures import degree_days, degrees

if TYPE_CHECKING:
    from datetime import date

    from monitoring.selectors.development import FarmDevelopment, KindTold, SpanTold

FLIES = {"house_fly": gettext_lazy("house flies"), "stable_fly": gettext_lazy("stable flies")}
# Beyond four weeks an interval says only that a clean-out is in time.
LONGEST_INTERVAL = 28


def flies_phrase(kind: str) -> str:
    """House flies; stable flies."""
    return str(FLIES[kind])


def leaving_sentence(one: "KindTold", *, measured: bool, name_them: bool = True) -> str:
    """At this week's temperatures maggots leave the bedding after 4 to 9 days and are flies after 7 to 18; or nothing.

    `measured`: the week's temperatures are known, and not only what is usual.
    """
    week = one.last_week
    if week.maggots_leave.shortest is None or week.flies.shortest is None:
        return ""
    maggots = _("maggots of {flies}").format(flies=flies_phrase(one.kind)) if name_them else _("maggots")
    if measured:
        words = _("At this week's temperatures {maggots} leave the bedding after {leave} and are flies after {fly}.")
    else:
        words = _("At usual temperatures {maggots} leave the bedding after {leave} and are flies after {fly}.")
    return words.format(maggots=maggots, leave=_span(week.maggots_leave), fly=_span(week.flies))


def missed_sentence() -> str:
    return _("A clean-out after that misses them.")


def clean_out_sentence(one: "KindTold") -> str:
    """How often it would have to be cleaned this week and next; nothing where that can't be told."""
    now, soon = one.last_week.clean_every, one.next_week.clean_every
    if now is None:
        return ""
    if now > LONGEST_INTERVAL:
        return _("A clean-out every four weeks still comes in time.")
    told = ngettext(
        "To catch the quickest too, clean-outs would have to come every day",
        "To catch the quickest too, clean-outs would have to come every {days} days",
        now,
    ).format(days=now)
    if soon is None or soon > LONGEST_INTERVAL:
        return f"{told}."
    if soon == now:
        return _("{told}, this week and next.").format(told=told)
    return ngettext(
        "{told}; next week, at usual temperatures, every day.",
        "{told}; next week, at usual temperatures, every {days} days.",
        soon,
    ).format(told=told, days=soon)


def heat_sentence(one: "KindTold") -> str:
    """Seven days can be too long in this heat; nothing where they are not."""
    if any(week.seven_is_too_long and week.in_heat for week in (one.last_week, one.next_week)):
        return _("Seven days can be too long in this heat.")
    return ""


def dates_sentence(one: "KindTold", laid: "date") -> str:
    """Eggs laid on July 3 can be flies between July 12 and July 17; or why no day can be given; or nothing."""
    flies, day = one.flies, day_phrase(laid)
    if flies.earliest is None:
        return _why_no_date(flies.why_no_earliest, day)
    first = day_phrase(flies.earliest)
    if flies.latest is None:
        return _("Eggs laid on {day} can be flies from {first} on.").format(day=day, first=first)
    words = _("Eggs laid on {day} can be flies between {first} and {last}.")
    return words.format(day=day, first=first, last=day_phrase(flies.latest))


def _why_no_date(reason: str, day: str) -> str:
    words = {
        "not_in_sight": _("Eggs laid on {day} are no flies within four months: it is too cold."),
        "too_hot": _("Of eggs laid on {day} no flies may come: above {heat} the young die."),
    }
    return words.get(reason, "").format(day=day, heat=degrees(38))


def kind_sentences(told: "FarmDevelopment", one: "KindTold") -> list[str]:
    """Everything that a farm's page says of one kind."""
    leaving = leaving_sentence(one, measured=told.is_measured, name_them=False)
    said = [
        dates_sentence(one, told.laid),
        leaving,
        missed_sentence() if leaving else "",
        clean_out_sentence(one),
        heat_sentence(one),
    ]
    return [each for each in said if each]


def caution_sentence() -> str:
    """Before a clean-out: what can hurt, and who decides."""
    return _(
        "Before a clean-out: gas in manure pits kills, so nobody goes in and nobody works there alone. Mind cattle and "
        "machines. Local rules and the people trained for it come first."
    )


def how_it_was_got(told: "FarmDevelopment") -> list[str]:
    """Thresholds, sources, what is our own, and whose temperatures: for whoever asks."""
    return [*_sources_of_days(told), *_lines()]


def no_temperatures_sentence() -> str:
    return _("No temperatures are known here, so nothing can be told of when eggs become flies.")


def _sources_of_days(told: "FarmDevelopment") -> Iterable[str]:
    days = {"own": told.own_days, "region": told.region_days}
    yield _(
        "Known of the last seven days: {own} measured on the farm, {region} in its region. The farm's own go first."
    ).format(**days)
    ahead = {
        "earlier_years": _("For the days to come stand those of the same time in earlier years."),
        "recent_days": _("For the days to come stand the last two weeks, as no earlier year is known."),
    }
    yield ahead.get(told.ahead, _("For the days to come nothing is known, so no dates are given."))


def _lines() -> Iterable[str]:
    yield _(
        "Each day adds its warmth above a threshold, by a curve from its lowest to its highest temperature "
        "(Baskerville and Emin 1969, Ecology 50)."
    )
    yield _(
        "House flies: days to leaving the bedding and to the fly at {cool} and {warm} in manure, and none above "
        "{heat}, are published (Lysyk and Axtell 1987, The Canadian Entomologist 119). The line between the two, "
        "{threshold} and {sum} to the fly, is our own. The early end reckons with the 6 to 7 days at {quick} to "
        "{quickest} that work of 1940 saw."
    ).format(
        cool=degrees(16), warm=degrees(35), heat=degrees(38), threshold=degrees(11.1, 1), sum=degree_days(210),
        quick=degrees(27), quickest=degrees(32),
    )  # fmt: skip
    yield _(
        "Stable flies: {threshold} and {sum} to the fly (Gilles, David and Duvallet 2005, Journal of Medical "
        "Entomology 42). Near that threshold it is poor: at {cool} 71 days were seen where it gives 80. How much of "
        "the time they are maggots is taken from house flies, our own choice."
    ).format(threshold=degrees(12.2, 1), sum=degree_days(225), cool=degrees(15))
    yield _(
        "A tenth more and less warmth is allowed for on top, our own choice: air is measured, and bedding warms itself."
    )


def _span(days: "SpanTold") -> str:
    """4 to 9 days; where no end is in sight, 40 days or more."""
    shortest = math.floor(days.shortest or 0)
    if days.longest is None:
        return ngettext("{n} day or more", "{n} days or more", shortest).format(n=shortest)
    return _("{low} to {high} days").format(low=shortest, high=math.ceil(days.longest))
