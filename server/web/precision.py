"""How well a farm's means are known, what more counting would help, what results borrow: in the farm's words."""

import json
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from alerts.selectors.borrowed import figures_lent
from alerts.selectors.precision import TO_15_PERCENT, precision_of_farm
from alerts.wording import amount
from alerts.wording.numbers import day_phrase
from alerts.wording.places import and_list
from alerts.wording.results import heading

if TYPE_CHECKING:
    from alerts.selectors.borrowed import Lent
    from alerts.selectors.farm_counts import FarmCounts
    from alerts.selectors.farm_weeks import FarmWeek
    from alerts.selectors.precision import Precision

# A standard error as a share of the mean, in words; above the last of them the mean is hardly known.
SHARES: tuple[tuple[float, Promise], ...] = (
    (0.075, gettext_lazy("a twentieth")),
    (0.15, gettext_lazy("a tenth")),
    (0.225, gettext_lazy("a fifth")),
    (0.29, gettext_lazy("a quarter")),
    (0.42, gettext_lazy("a third")),
    (0.75, gettext_lazy("half")),
)
# Up to here "a quarter" is said, so that nothing is said of a quarter to come.
SAID_A_QUARTER = 0.29
HOW_UNEVENLY: dict[str, Promise] = {
    "card": gettext_lazy("How unevenly cards catch"),
    "trap": gettext_lazy("How unevenly traps catch"),
    "leg": gettext_lazy("How unevenly flies sit on animals"),
}
TAKEN_FROM: dict[str, Promise] = {
    "own": gettext_lazy("{what} is taken from this farm's own last twelve weeks."),
    "taylor": gettext_lazy("{what} is taken from farms of the group, rounded and fixed for a quarter."),
    "published": gettext_lazy("{what} is taken from what is published of large dairies."),
    "group": gettext_lazy("{what} is taken from the leg counts of the group, rounded and fixed for a quarter."),
    "inferred": gettext_lazy("{what} is our own inference, since no published figure is known to us."),
}
# Written by `manage.py calibrate`: the share of level farms called rising in any of three weekly checks.
CALIBRATION, WITHIN_THREE = "docs/calibration/figures.json", "own_test_level_within_three_checks"


@dataclass(frozen=True)
class Known:
    """What is told of a judged week: by method how well its mean is known, and where it is from how weeks scatter."""

    by_method: dict[str, list[str]]
    weeks: list[str]


def known_of(seen: "FarmWeek", counts: "FarmCounts") -> Known:
    """How well the means of a judged week are known, and what its results borrow."""
    rows = precision_of_farm(seen.farm, seen.week, counts)
    told = {row.method: [_per_leg(row), known_sentence(row), _zeros(row), unevenly_sentence(row)] for row in rows}
    by_method = {method: [said for said in sentences if said] for method, sentences in told.items()}
    return Known(by_method, weeks_sentences(figures_lent(seen.farm, seen.farm_rows.values(), counts.lent.values())))


def known_sentence(row: "Precision") -> str:
    """With 5 cards the mean is known to about a quarter; for 15 % about 12 would be needed. Empty where untold."""
    if row.reached is None or row.for_a_quarter is None or row.for_15_percent is None:
        return ""
    share = next((str(word) for most, word in SHARES if row.reached < most), "")
    if not share:
        told = _(
            "With {devices} the mean is hardly known; for a quarter about {few} would be needed, for 15 % about {many}."
        )
    elif row.reached >= SAID_A_QUARTER:
        told = _(
            "With {devices} the mean is known to about {share}; for a quarter about {few} would be needed, for 15 % "
            "about {many}."
        )
    elif row.reached > TO_15_PERCENT:
        told = _("With {devices} the mean is known to about {share}; for 15 % about {many} would be needed.")
    else:
        told = _("With {devices} the mean is known to about {share}.")
    few, many = amount(row.for_a_quarter), amount(row.for_15_percent)
    return told.format(devices=counted(row.method, row.devices), share=share, few=few, many=many)


def counted(method: str, number: int) -> str:
    """5 cards; 1 trap; 12 animals."""
    phrases: Mapping[str, Callable[[], str]] = {
        "card": lambda: ngettext("{n} card", "{n} cards", number),
        "trap": lambda: ngettext("{n} trap", "{n} traps", number),
        "leg": lambda: ngettext("{n} animal", "{n} animals", number),
    }
    return phrases[method]().format(n=number)


def _per_leg(row: "Precision") -> str:
    if row.mean is None or row.mean_per_leg is None:
        return ""
    return _("{mean} flies an animal are {leg} a leg.").format(mean=amount(row.mean), leg=amount(row.mean_per_leg))


def _zeros(row: "Precision") -> str:
    """2 of 9 cards had none at all; counts as uneven as these leave about 2 without."""
    seen = row.unevenness
    if not seen.zeros or seen.zeros_expected is None or row.mean == 0:
        return ""
    told = _("Of {devices} {zeros} had none at all; with counts as uneven as these about {expected} would be expected.")
    zeros, expected = round(seen.zeros * seen.counts), round(seen.zeros_expected * seen.counts)
    return told.format(devices=counted(row.method, seen.counts), zeros=zeros, expected=expected)


def unevenly_sentence(row: "Precision") -> str:
    """Where it is known from how unevenly devices catch; empty where nothing rests on it."""
    taken = TAKEN_FROM.get(row.source) if row.reached is not None else None
    return "" if taken is None else str(taken).format(what=HOW_UNEVENLY[row.method])


def weeks_sentences(lent: Sequence["Lent"]) -> list[str]:
    """Where it is known from how much weeks scatter: said once, or method by method where they differ."""
    methods: dict[str, list[str]] = defaultdict(list)
    for one in lent:
        methods[_weeks_sentence(one)].append(one.method)
    if len(methods) <= 1:
        return list(methods)
    return [f"{methods_phrase(own)}: {said}" for said, own in methods.items()]


def methods_phrase(methods: Sequence[str]) -> str:
    """Cards and traps."""
    names = [heading(method) if place == 0 else heading(method).lower() for place, method in enumerate(methods)]
    return and_list(names)


def _weeks_sentence(lent: "Lent") -> str:
    if lent.figures is None:
        return _(
            "How much weeks scatter is taken from printed figures, since fewer than 30 holdings have counted long "
            "enough (farms of one owner are one holding)."
        )
    told = _(
        "How much weeks scatter is taken from {farms} farms of the group, rounded and fixed for the quarter from {day}."
    )
    return told.format(farms=lent.figures.farms, day=day_phrase(lent.figures.quarter))


def more_would_help(farm: Any, week: date) -> list[str]:
    """One sentence for each method whose mean isn't known to a quarter."""
    return [said for row in precision_of_farm(farm, week) if (said := more_sentence(row))]


def more_sentence(row: "Precision") -> str:
    """With 3 cards a week's mean is not known to a quarter yet; about 2 more would do. Empty where there are enough."""
    more = row.more_for_a_quarter
    if more <= 0:
        return ""
    told = _("With {devices} the mean of a week is not known to a quarter yet: about {more} more would do.")
    return told.format(devices=counted(row.method, row.devices), more=amount(more))


def own_test_sentences() -> list[str]:
    """What it takes to be called rising, and how often a level farm is."""
    told = _(
        "Rising is said when a farm's last weeks went up more than those of 19 in 20 level farms would by chance; "
        "falling likewise."
    )
    share = _(
        "Of a hundred level farms {number} are called rising at least once within three weeks, in trials with "
        "simulated farms."
    )
    return [told, share.format(number=called_rising(calibration()))]


def called_rising(figures: Mapping[str, Any]) -> str:
    """How many of a hundred level farms are called rising in three weeks: as measured, else as first trials had it."""
    share = figures.get(WITHIN_THREE)
    return _("11 to 13") if share is None else _("about {number}").format(number=round(100 * share))


@cache
def calibration() -> Mapping[str, Any]:
    """The figures that the calibration keeps for pages to quote; empty where they do not come with the service."""
    path = settings.BASE_DIR / CALIBRATION
    found: Mapping[str, Any] = json.loads(path.read_text()) if path.is_file() else {}
    return found
