"""An open matter in words: what it is, what it rests on, and what to look at. A question to check, never an order."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from alerts.models.alert import Rule
from alerts.wording.numbers import amount
from alerts.wording.places import stations_phrase

Evidence = Mapping[str, Any]
Names = Mapping[str, str]  # of facilities, by id


def matter_phrase(rule: str, method: str, evidence: Evidence, names: Names | None = None) -> str:
    """What a matter rests on and what to look at; empty where its result is told elsewhere (over, rising, overdue)."""
    tell = TELLERS.get(rule)
    return tell(method, evidence, names or {}) if tell and evidence.get("met", True) else ""


def _soon(method: str, known: Evidence, names: Names) -> str:
    if known.get("weeks") is None:
        return ""
    told = ngettext(
        "Mean {mean}: if it goes on like this, it is likely over the level of {level} in a week.",
        "Mean {mean}: if it goes on like this, it is likely over the level of {level} in {weeks} weeks.",
        known["weeks"],
    )
    return told.format(mean=amount(known["mean"]), level=amount(known["level"]), weeks=known["weeks"])


def _hot_station(method: str, known: Evidence, names: Names) -> str:
    """Card 5 holds 200, the others 10 on average, for 2 weeks running."""
    if known.get("number") is None:
        return ""
    told = _("{named}: {rate}, the others {others} on average, for {weeks} weeks running. Worth a look there first.")
    return told.format(
        named=stations_phrase(method, [known["number"]]),
        rate=amount(known["rate"]),
        others=amount(known["others"]),
        weeks=known["weeks_at_top"],
    )


def _jump(method: str, known: Evidence, names: Names) -> str:
    if known.get("expected") is None:
        return ""
    told = _("{mean} this week, where the farm's own weeks led to expect about {expected}. What was different?")
    return told.format(mean=amount(known["mean"]), expected=amount(known["expected"]))


def _missing_twice(method: str, known: Evidence, names: Names) -> str:
    numbers = _numbers(known.get("stations", ()))
    if not numbers:
        return ""
    told = ngettext(
        "{named} gave no count twice running: is there a better place close by, dry and out of reach?",
        "{named} gave no count twice running: are there better places close by, dry and out of reach?",
        len(numbers),
    )
    return told.format(named=stations_phrase(method, numbers))


def _siting(method: str, known: Evidence, names: Names) -> str:
    parts = [_few_in(place, method, names) for place in known.get("few", ())]
    reach, wind = _numbers(known.get("reach", ())), _numbers(known.get("wind", ()))
    if reach:
        told = ngettext(
            "Nobody has confirmed yet that {named} hangs out of reach of animals and children. Its bait may be an "
            "insecticide: the label and local rules decide where it may hang.",
            "Nobody has confirmed yet that {named} hang out of reach of animals and children. Their bait may be an "
            "insecticide: the label and local rules decide where they may hang.",
            len(reach),
        )
        parts.append(told.format(named=stations_phrase(method, reach)))
    if wind:
        told = ngettext(
            "{named} hangs in wind, which flies avoid: a low count there says little.",
            "{named} hang in wind, which flies avoid: low counts there say little.",
            len(wind),
        )
        parts.append(told.format(named=stations_phrase(method, wind)))
    return " ".join(parts)


def _few_in(place: Mapping[str, Any], method: str, names: Names) -> str:
    """Only 2 traps hang in Free-stall barn: five or more tell more."""
    where = names.get(place["facility"], "")
    if method == "trap":
        told = ngettext("Only {n} trap hangs", "Only {n} traps hang", place["devices"])
    else:
        told = ngettext("Only {n} card hangs", "Only {n} cards hang", place["devices"])
    told = told.format(n=place["devices"])
    if where:
        return _("{told} there ({place}): five or more say more.").format(told=told, place=where)
    return _("{told} in one place: five or more say more.").format(told=told)


def _few_animals(method: str, known: Evidence, names: Names) -> str:
    if known.get("animals") is None:
        return ""
    told = ngettext(
        "Legs of {n} animal were looked at: ten or more of the same pens say more. Count from the feed lane or in "
        "headlocks, never alone in a pen with a bull.",
        "Legs of {n} animals were looked at: ten or more of the same pens say more. Count from the feed lane or in "
        "headlocks, never alone in a pen with a bull.",
        known["animals"],
    )
    return told.format(n=known["animals"])


def _numbers(stations: Sequence[Mapping[str, Any]]) -> list[int]:
    return sorted({int(station["number"]) for station in stations})


TELLERS: Mapping[str, Callable[[str, Evidence, Names], str]] = {
    Rule.SOON.value: _soon,
    Rule.HOT_STATION.value: _hot_station,
    Rule.JUMP.value: _jump,
    Rule.MISSING_TWICE.value: _missing_twice,
    Rule.SITING.value: _siting,
    Rule.FEW_ANIMALS.value: _few_animals,
}
