"""Fly walks: which places are asked about where, and what a finding and its steps may be. Pure functions.

The places are common practice, no source.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from django.utils.translation import gettext_lazy as _

from farms.errors import Detail
from farms.models.farm import FacilityKind
from monitoring.models.walk import Amount, Material, Moisture, Place, StepKind
from monitoring.rules.cells import FIRST_DAY, YEAR_CUT

# After a work it is looked again: in heat a fly needs about a week from egg to wing (common practice, no source).
LOOK_AGAIN_AFTER = timedelta(days=7)
FURTHEST_AHEAD = timedelta(days=366)
# So long after a farm's season opened, what the winter left is asked about too.
SPRING_LASTS = timedelta(weeks=8)
LONGEST = {"place_words": 120, "to_do": 300, "by_whom": 80, "note": 1000, "reason": 200}

_PENS = (Place.PEN_CORNERS, Place.BEDDING, Place.WATERERS, Place.SPILLED_FEED)
_STALLS = (
    Place.OUT_OF_SCRAPERS_REACH, Place.ALLEY_ENDS, Place.FEED_BUNKS, Place.WATERERS, Place.BEDDING, Place.SPILLED_FEED,
)  # fmt: skip
CHECKLISTS: Mapping[str, Sequence[Place]] = {
    FacilityKind.CALF_HUTCHES: (Place.HUTCH_EDGES, *_PENS, Place.SPILLED_MILK),
    FacilityKind.CALF_BARN: (*_PENS, Place.SPILLED_MILK, Place.GUTTERS),
    FacilityKind.FREE_STALL_BARN: _STALLS,
    FacilityKind.TIE_STALL_BARN: (
        Place.GUTTERS, Place.MANGERS, Place.OUT_OF_SCRAPERS_REACH, Place.WATERERS, Place.BEDDING, Place.SPILLED_FEED,
    ),
    FacilityKind.BEDDED_PACK: (*_PENS, Place.FEED_BUNKS),
    FacilityKind.HEIFER_BARN: (*_PENS, Place.FEED_BUNKS, Place.OUT_OF_SCRAPERS_REACH),
    FacilityKind.MATERNITY_PEN: _PENS,
    FacilityKind.PARLOR: (Place.DRAINS, Place.GUTTERS, Place.OUT_OF_SCRAPERS_REACH),
    FacilityKind.MILK_HOUSE: (Place.DRAINS, Place.SPILLED_MILK),
    FacilityKind.FEED_AREA: (Place.FEED_BUNKS, Place.SPILLED_FEED, Place.SILAGE_EDGES, Place.SILO_EDGES),
    FacilityKind.HAY_FEEDING_SITE: (Place.HAY_RINGS, Place.SPILLED_FEED, Place.WATERERS),
    FacilityKind.SILO: (Place.SILO_EDGES, Place.SILAGE_EDGES, Place.SPILLED_FEED),
    FacilityKind.DRY_LOT: (Place.FEED_BUNKS, Place.WATERERS, Place.FENCE_LINES, Place.MANURE_PILE, Place.SPILLED_FEED),
    FacilityKind.PASTURE: (Place.WATERERS, Place.HAY_RINGS, Place.FENCE_LINES),
    FacilityKind.LAGOON: (Place.LAGOON_EDGES, Place.MANURE_PILE),
}  # fmt: skip
# All over the farm, or where the kind of place says nothing.
ALL_OVER: Sequence[Place] = (
    Place.MANURE_PILE, Place.LAGOON_EDGES, Place.SILO_EDGES, Place.FEED_BUNKS, Place.SPILLED_FEED, Place.WATERERS,
    Place.FENCE_LINES, Place.OUT_OF_SCRAPERS_REACH,
)  # fmt: skip
# What the winter left.
_SPRING_PACK = frozenset(
    {FacilityKind.BEDDED_PACK, FacilityKind.HEIFER_BARN, FacilityKind.MATERNITY_PEN, FacilityKind.CALF_BARN}
)
SPRING: Mapping[str, Sequence[Place]] = {
    **dict.fromkeys(_SPRING_PACK, (Place.WINTER_PACK,)),
    FacilityKind.CALF_HUTCHES: (Place.HUTCH_GROUND,),
    FacilityKind.FEED_AREA: (Place.SILAGE_EDGES,),
    FacilityKind.SILO: (Place.SILAGE_EDGES,),
    FacilityKind.HAY_FEEDING_SITE: (Place.HAY_RINGS,),
    FacilityKind.PASTURE: (Place.HAY_RINGS,),
    FacilityKind.DRY_LOT: (Place.HAY_RINGS, Place.WINTER_PACK),
}
SPRING_ALL_OVER: Sequence[Place] = (Place.WINTER_PACK, Place.HAY_RINGS, Place.HUTCH_GROUND, Place.SILAGE_EDGES)

NOTHING_LOOKED_AT = _("Nothing was looked at. Say at least of one place what was found, even if it was nothing.")
TOO_MANY = _("These are more than 60 places. Send them as two walks.")
NAMED_TWICE = _("Two places have the same id. Give each its own.")
WALKED_AHEAD = _("This day is still to come on this farm. Note the walk on the day it was walked.")
SAYS_NOTHING = _(
    "Say what was found there: wet or dry, of what, maggots or pupae, or what to do. If it was nothing, say so."
)
NOTHING_AND_SOMETHING = _("It says that nothing was found, and also what was found or is to do. Take one of them away.")
NAME_THE_PLACE = _("Say which place it is, in a few words.")
OFF_THE_PLAN = _("A place on the plan is two numbers from 0 to 1, x and y. Give both, or leave both away.")
ELSEWHERE = _("This isn't one of this farm's. Choose one of the farm's own, or leave it empty.")
UNKNOWN = _("Use one of: {words}.")
DUE_BEFORE = _("This day is before the one on which it was found. Give a later day.")
TOO_FAR = _("This day is more than a year ahead. Check it and its year.")
TOO_LONG = _("This is longer than {most} characters. Shorten it.")
NO_TEXT = _("This holds characters that are no text. Type it again.")
WHY_MISSING = _("Say why it is changed: what was noted first stays on record.")
STEP_AHEAD = _("This day is still to come on this farm. Note it on the day on which it is done.")
STEP_BEFORE = _("This day is before {day}, when it was noted last. Correct the day.")
# What each column may hold beside nothing.
WORDS: Mapping[str, Sequence[str]] = {
    "material": Material.values, "moisture": Moisture.values, "larvae": Amount.values, "pupae": Amount.values,
}  # fmt: skip
TOLD = ("material", "moisture", "larvae", "pupae")


@dataclass(frozen=True)
class Said:
    """Free words about a finding: the place in own words, what to do, by whom, a note."""

    place_words: str = ""
    to_do: str = ""
    by_whom: str = ""
    note: str = ""


@dataclass(frozen=True)
class FindingSent:
    """What was found at one place. `facility` and `station` are records of the farm; `nothing`: nothing found."""

    id: Any
    place: str
    nothing: bool = False
    facility: Any = None
    station: Any = None
    material: str = ""
    moisture: str = ""
    larvae: str = ""
    pupae: str = ""
    due_on: date | None = None
    x: float | None = None
    y: float | None = None
    said: Said = field(default_factory=Said)


def checklist_of(kind: str | None, *, spring: bool) -> list[Place]:
    """The places to look at in a barn or lot of this kind, None for all over the farm; what the winter left first."""
    usual = ALL_OVER if kind is None else CHECKLISTS.get(kind, ALL_OVER)
    left = (SPRING_ALL_OVER if kind is None else SPRING.get(kind, ())) if spring else ()
    return list(dict.fromkeys([*left, *usual]))


def is_spring(opened_on: date | None, today: date) -> bool:
    """Whether a farm's season opened lately: its own spring, on either half of the earth. Not where none is open."""
    return opened_on is not None and timedelta(0) <= today - opened_on < SPRING_LASTS


def finding_faults(sent: FindingSent, seen_on: date, today: date) -> list[Detail]:
    """What can't be right about a finding; its records of the farm are compared elsewhere."""
    faults = unknown_faults("place", sent.place, Place.values)
    for name, known in WORDS.items():
        faults += unknown_faults(name, getattr(sent, name), known) if getattr(sent, name) else []
    if sent.place == Place.OTHER and not sent.said.place_words.strip():
        faults.append(Detail("/place_words", str(NAME_THE_PLACE), "place_words_missing"))
    faults += _found_faults(sent) + plan_faults(sent.x, sent.y) + due_faults(sent.due_on, seen_on, today)
    return faults + words_faults(vars(sent.said))


def _found_faults(sent: FindingSent) -> list[Detail]:
    found = any(getattr(sent, name) in (Amount.SOME, Amount.MANY) for name in ("larvae", "pupae"))
    to_do = bool(sent.said.to_do.strip() or sent.said.by_whom.strip() or sent.due_on)
    if sent.nothing:
        wrong = found or to_do
        return [Detail("/nothing", str(NOTHING_AND_SOMETHING), "nothing_and_something")] if wrong else []
    told = any(getattr(sent, name) for name in TOLD) or to_do or sent.said.note.strip()
    return [] if told else [Detail("/nothing", str(SAYS_NOTHING), "says_nothing")]


def unknown_faults(name: str, word: str, known: Sequence[str]) -> list[Detail]:
    """A word that isn't one of those that may stand there."""
    if word in known:
        return []
    return [Detail(f"/{name}", str(UNKNOWN).format(words=", ".join(known)), f"{name}_unknown")]


def plan_faults(x: float | None, y: float | None) -> list[Detail]:
    """Half a place on the plan, or one beside it."""
    inside = all(0 <= each <= 1 for each in (x, y) if each is not None)
    return [] if (x is None) == (y is None) and inside else [Detail("/x", str(OFF_THE_PLAN), "off_the_plan")]


def due_faults(due_on: date | None, begins: date, today: date) -> list[Detail]:
    if due_on is None:
        return []
    if due_on < FIRST_DAY:
        return [Detail("/due_on", str(YEAR_CUT), "not_a_day")]
    if due_on < begins:
        return [Detail("/due_on", str(DUE_BEFORE), "due_before")]
    return [Detail("/due_on", str(TOO_FAR), "too_far")] if due_on > today + FURTHEST_AHEAD else []


def day_faults(name: str, day: date, today: date, ahead: Any = WALKED_AHEAD) -> list[Detail]:
    """A day that is to come, or whose year was cut."""
    if day > today:
        return [Detail(f"/{name}", str(ahead), "future_date")]
    return [Detail(f"/{name}", str(YEAR_CUT), "not_a_day")] if day < FIRST_DAY else []


def words_faults(words: Mapping[str, str], longest: Mapping[str, int] = LONGEST) -> list[Detail]:
    """Words that are too long or no text. Lines may be broken."""
    faults = []
    for name, text in words.items():
        if not _is_text(text):
            faults.append(Detail(f"/{name}", str(NO_TEXT), "not_text"))
        elif len(text) > longest[name]:
            faults.append(Detail(f"/{name}", str(TOO_LONG).format(most=longest[name]), "text_too_long"))
    return faults


def why_faults(reason: str) -> list[Detail]:
    """A correction says why."""
    missing = [] if reason.strip() else [Detail("/reason", str(WHY_MISSING), "reason_missing")]
    return missing + words_faults({"reason": reason})


def step_faults(kind: str, on: date, due_on: date | None, last: date, today: date) -> list[Detail]:
    """What can't be right about a step after `last`, the newest day that is known of its finding."""
    faults = unknown_faults("kind", kind, StepKind.values) + day_faults("on", on, today, STEP_AHEAD)
    if not faults and on < last:
        faults.append(Detail("/on", str(STEP_BEFORE).format(day=last.isoformat()), "before_the_last"))
    return faults + due_faults(due_on, on, today)


def _is_text(text: str) -> bool:
    return all(letter.isprintable() or letter in "\n\r\t" for letter in text)
