"""Stations, facilities, and where to look: always a question to check on the spot, never an order.

Where flies hatch in each kind of facility is common practice on dairies, no source.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

if TYPE_CHECKING:
    from farms.models import Facility

# What the siting of a station says about a high count (codes of monitoring.analysis.hot_station).
QUESTIONS: dict[str, Promise] = {
    "may_only_rest_here": gettext_lazy(
        "Something close by draws flies, so they may only rest there. Do they hatch there too?"
    ),
    "may_be_avoided": gettext_lazy("It hangs in wind or draught, which flies avoid. Are there more out of the wind?"),
    "look_here_first": gettext_lazy("Nothing close by draws flies. Worth a look there first."),
}

# Facility kinds as they stand in a sentence after "in".
IN_KIND: dict[str, Promise] = {
    "calf_hutches": gettext_lazy("the calf hutches"),
    "calf_barn": gettext_lazy("the calf barn"),
    "free_stall_barn": gettext_lazy("the free-stall barn"),
    "tie_stall_barn": gettext_lazy("the tie-stall barn"),
    "bedded_pack": gettext_lazy("the bedded pack"),
    "heifer_barn": gettext_lazy("the heifer barn"),
    "maternity_pen": gettext_lazy("the maternity pen"),
    "parlor": gettext_lazy("the parlor"),
    "milk_house": gettext_lazy("the milk house"),
    "feed_area": gettext_lazy("the feed area"),
    "hay_feeding_site": gettext_lazy("the hay-feeding site"),
    "silo": gettext_lazy("the silo"),
    "dry_lot": gettext_lazy("the dry lot"),
    "pasture": gettext_lazy("the pasture"),
    "lagoon": gettext_lazy("the lagoon"),
}

WHERE_TO_LOOK: dict[str, Promise] = {
    "calf_hutches": gettext_lazy("wet bedding in and behind the hutches, spilled milk and feed"),
    "calf_barn": gettext_lazy("corners behind the pens, wet bedding along the wall, under the waterer"),
    "free_stall_barn": gettext_lazy("corners and curbs that the scraper misses, wet stall ends, under the waterers"),
    "tie_stall_barn": gettext_lazy("gutter ends and corners, wet bedding, old feed under the manger"),
    "bedded_pack": gettext_lazy("the edges of the pack along the wall, wet spots around the waterers"),
    "heifer_barn": gettext_lazy("wet bedding along the walls, under gates, around the waterers"),
    "maternity_pen": gettext_lazy("wet straw in the corners and under the waterer"),
    "parlor": gettext_lazy("drains, corners and the edges of mats where manure and milk stay"),
    "milk_house": gettext_lazy("the floor drain, places where milk was spilled"),
    "feed_area": gettext_lazy("old, wet feed along the bunk and under its edges"),
    "hay_feeding_site": gettext_lazy("the ring of trampled hay and manure, old sites too"),
    "silo": gettext_lazy("spoiled silage along the face and edges, puddles of seepage"),
    "dry_lot": gettext_lazy("manure under the fence lines, around the waterers, the foot of the mounds"),
    "pasture": gettext_lazy("places where hay was fed, trampled and wet"),
    "lagoon": gettext_lazy("crust and floating manure along the edges"),
}
ANYWHERE = gettext_lazy("wet manure, bedding or feed that has lain for more than a week")


def question_text(code: str) -> str:
    """The sentence of a question's code, for a page."""
    return str(QUESTIONS[code])


def siting_phrase(named: str, number: int, near: str, *, windy: bool) -> str:
    """What the siting of stations with a high count says, as half a sentence. `number`: how many are named."""
    words = {
        "milk": ngettext(
            "{named} hangs near milk, so flies may only rest there",
            "{named} hang near milk, so flies may only rest there", number,
        ),
        "feed": ngettext(
            "{named} hangs near feed, so flies may only rest there",
            "{named} hang near feed, so flies may only rest there", number,
        ),
        "water": ngettext(
            "{named} hangs near water, so flies may only rest there",
            "{named} hang near water, so flies may only rest there", number,
        ),
    }  # fmt: skip
    wind = ngettext(
        "{named} hangs in the wind, which flies avoid, and still has many",
        "{named} hang in the wind, which flies avoid, and still have many",
        number,
    )
    nothing = ngettext("{named} has nothing near that draws them", "{named} have nothing near that draws them", number)
    return words.get(near, wind if windy else nothing).format(named=named)


def facility_phrase(facility: "Facility") -> str:
    """The facility in a sentence: "the calf barn" where it is named by its kind, else its own name."""
    return str(IN_KIND[facility.kind]) if _is_named_by_kind(facility) else facility.name


def facility_name(facility: "Facility") -> str:
    """The facility in a list of reasons: "calf barn" where it is named by its kind, else its own name."""
    return _kind_name(facility) if _is_named_by_kind(facility) else facility.name


def _kind_name(facility: "Facility") -> str:
    # Django's get_kind_display takes 2 ms, and a list of 300 farms asks often.
    kinds = dict(facility._meta.get_field("kind").choices or ())
    return str(kinds.get(facility.kind, facility.kind))


def _is_named_by_kind(facility: "Facility") -> bool:
    names = (_kind_name(facility).casefold(), facility.kind.replace("_", " "))
    return facility.kind in IN_KIND and facility.name.casefold() in names


def places_to_look(kind: str) -> str:
    """Where flies may hatch in a kind of facility."""
    return str(WHERE_TO_LOOK.get(kind, ANYWHERE))


def stations_phrase(method: str, numbers: Sequence[int]) -> str:
    """Card 4; Cards 4 and 7; Traps 1, 2 and 3."""
    listed = and_list([str(number) for number in numbers])
    if method == "card":
        return ngettext("Card {numbers}", "Cards {numbers}", len(numbers)).format(numbers=listed)
    if method == "trap":
        return ngettext("Trap {numbers}", "Traps {numbers}", len(numbers)).format(numbers=listed)
    return ngettext("Leg count {numbers}", "Leg counts {numbers}", len(numbers)).format(numbers=listed)


def and_list(words: Sequence[str]) -> str:
    """a, b and c."""
    if len(words) < 2:
        return "".join(words)
    return _("{list} and {last}").format(list=", ".join(words[:-1]), last=words[-1])
