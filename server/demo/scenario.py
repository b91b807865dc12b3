"""The scenario: an invented advisory group, 36 invented dairies in four regions, and one more that brings a CSV file.

Every name is made up; no farm, place or person is real. The numbers come from the simulator (server/demo/season.py).
"""

from dataclasses import dataclass, field
from datetime import date

GROUP = "Millrace Fly Watch (invented)"
TIME_ZONE = "America/Chicago"
REGISTERED = date(2026, 3, 16)
FIRST_HUNG = date(2026, 5, 4)  # the first visit only hangs
TODAY = date(2026, 8, 17)  # a Monday; the week of August 10 is the newest judged
SEED = 104


@dataclass(frozen=True)
class Building:
    """A facility with its devices: how many cards, traps and leg stations, and how good a place it is for flies."""

    name: str
    kind: str
    cards: int = 0
    traps: int = 0
    legs: int = 0
    richness: float = 1.0


@dataclass(frozen=True)
class Trouble:
    """What goes wrong, or right, on a farm. Days are in the season; stations are card numbers."""

    corner: tuple[int, ...] = ()  # cards beside a corner that is never cleaned
    corner_from: date | None = None
    corner_times: float = 4.0  # how much more room for maggots it makes within three weeks
    windy: tuple[int, ...] = ()
    over_milk: tuple[int, ...] = ()
    stops_on: date | None = None
    cleaned_on: tuple[date, ...] = ()
    # What was noted besides, and changed nothing: kind, day, which building (None: the whole farm).
    noted: tuple[tuple[str, date, int | None], ...] = ()
    stable_flies: float = 1.0


@dataclass(frozen=True)
class FoundThere:
    """What a fly walk finds at a place, and the steps that follow it, each with its day."""

    place: str
    nothing: bool = False
    material: str = ""
    moisture: str = ""
    larvae: str = ""
    pupae: str = ""
    near: int | None = None  # the number of a card
    words: str = ""
    to_do: str = ""
    by_whom: str = ""
    due_on: date | None = None
    steps: tuple[tuple[str, date], ...] = ()


@dataclass(frozen=True)
class Walked:
    """A fly walk on a day in a building, perhaps because of a card."""

    on: date
    building: str
    found: tuple[FoundThere, ...]
    near: int | None = None


@dataclass(frozen=True)
class Heard:
    """A complaint of a neighbour, and what was answered."""

    on: date
    said: str
    sender: str
    place: str
    answered_on: date
    answered: str


@dataclass(frozen=True)
class Dairy:
    name: str
    region: str
    holding: str
    buildings: tuple[Building, ...]
    trouble: Trouble = field(default_factory=Trouble)
    consents_to_region: bool = True
    language: str = "en"
    adviser: str = "north"


CALVES = Building("Calf barn", "calf_barn", cards=7, richness=1.3)
HUTCHES = Building("Hutches", "calf_hutches", cards=5, richness=1.1)
STALLS = Building("Free-stall barn", "free_stall_barn", cards=5, traps=3, legs=1)
TIES = Building("Tie-stall barn", "tie_stall_barn", cards=6, traps=2, legs=1)
PACK = Building("Bedded pack", "bedded_pack", cards=5, traps=2, legs=1, richness=1.2)
HEIFERS = Building("Heifer barn", "heifer_barn", cards=5, richness=0.9)

LAYOUTS = ((CALVES, STALLS), (HUTCHES, STALLS), (CALVES, TIES), (HUTCHES, PACK), (CALVES, STALLS, HEIFERS))

REGIONS = ("Upper Bend", "Longmeadow", "Stony Fork", "Far Shore")

NAMES = {
    "Upper Bend": (
        "Hollow Creek", "Sorrel Flats", "Windrow Hill", "Milk Lane", "Clearbrook", "Hay Ring", "Pebble Ford",
        "Alder Bank", "Two Gates", "Larkrise", "Old Orchard", "Bramble Yard", "Long Acre", "Thistle End",
        "Kettle Pond", "Mossy Gate",
    ),
    "Longmeadow": (
        "Cowslip Green", "Ash Corner", "Wagon Wheel", "Dewberry", "Stone Trough", "Fallow Field", "Rookery",
        "Broadmere", "Tall Oats", "Willow Crossing", "Cobble Yard",
    ),
    "Stony Fork": ("Flint Ridge", "Dry Run", "Juniper Draw", "Cedar Lot", "Sandy Bottom", "Grindstone"),
    "Far Shore": ("Reed Bay", "Driftwood", "Gull Meadow"),
}  # fmt: skip

# Two owners have two farms each, so that holdings and farms are not the same number.
SHARED_HOLDINGS = {"Larkrise": "Larkrise and Old Orchard", "Old Orchard": "Larkrise and Old Orchard"}
SHARED_HOLDINGS |= {"Two Gates": "Two Gates and Long Acre", "Long Acre": "Two Gates and Long Acre"}

TROUBLES = {
    "Hollow Creek": Trouble(corner=(4, 7), corner_from=date(2026, 7, 1), corner_times=8.0),
    # Two things within a week can't be told apart, and the second is too short ago.
    "Windrow Hill": Trouble(
        windy=(3,),
        noted=(("bedding", date(2026, 6, 29), 0), ("drying", date(2026, 7, 3), 0), ("fans", date(2026, 8, 10), 1)),
    ),
    # On the whole farm: only the region's published weeks stand beside it.
    "Alder Bank": Trouble(noted=(("drying", date(2026, 7, 6), None),)),
    "Milk Lane": Trouble(over_milk=(2,)),
    "Sorrel Flats": Trouble(stops_on=date(2026, 8, 2)),
    "Clearbrook": Trouble(
        corner=(1, 2, 3), corner_from=date(2026, 6, 1), corner_times=7.0, cleaned_on=(date(2026, 7, 20),)
    ),
    "Hay Ring": Trouble(stable_flies=3.5),
    "Wagon Wheel": Trouble(corner=(5,), corner_from=date(2026, 7, 20)),
    "Dry Run": Trouble(stops_on=date(2026, 7, 19)),
    "Grindstone": Trouble(stable_flies=2.5, cleaned_on=(date(2026, 6, 22), date(2026, 7, 27))),
}

# Fly walks, and a complaint; steps lie within the week of their walk.
WALKS = {
    "Hollow Creek": (
        Walked(
            date(2026, 8, 12), "Calf barn", near=4, found=(
                FoundThere("pen_corners", material="bedding", moisture="wet", larvae="many", pupae="some", near=4,
                           to_do="Fork out the corners down to the concrete, then straw", by_whom="farm staff",
                           due_on=date(2026, 8, 14)),
                FoundThere("waterers", material="bedding", moisture="wet", larvae="some", near=7,
                           to_do="Mend the float", by_whom="farm staff", due_on=date(2026, 8, 13),
                           steps=(("done", date(2026, 8, 13)),)),
                FoundThere("spilled_feed", nothing=True),
                FoundThere("gutters", nothing=True),
                FoundThere("other", words="behind the feed cart", material="feed", moisture="wet", larvae="none",
                           to_do="Sweep it up", due_on=date(2026, 8, 20)),
            ),
        ),
    ),
    "Clearbrook": (
        Walked(
            date(2026, 7, 18), "Calf barn", found=(
                FoundThere("bedding", material="bedding", moisture="wet", larvae="many", to_do="Clean out",
                           due_on=date(2026, 7, 20)),
                FoundThere("pen_corners", material="manure", moisture="wet", larvae="some"),
            ),
        ),
    ),
}  # fmt: skip
COMPLAINTS = {
    "Hollow Creek": (
        Heard(
            date(2026, 8, 6), "Flies on the porch since the weekend, more than last year", "A neighbor (invented)",
            "about half a mile east", date(2026, 8, 8),
            "We showed the cards and told what is being done in the calf barn. We call again in two weeks.",
        ),
    ),
}  # fmt: skip

SPANISH = {"Cedar Lot", "Dewberry", "Juniper Draw"}
NO_REGIONAL_CONSENT = {"Mossy Gate"}
# Whose owner signed the data agreement on paper; the adviser brought it in.
SIGNED_ON_PAPER = {"Sorrel Flats"}
ASK = "Cora Finch (invented), coordinator@example.org"
# Who of the advisers sells fly products.
SELLS = {"north": False, "south": True}

# The farm that brings its season as a file, as a program would send it.
NEWCOMER = Dairy(
    "Quarry Side", "Upper Bend", "Quarry Side", (CALVES, STALLS), consents_to_region=False, adviser="north"
)


def dairies() -> tuple[Dairy, ...]:
    """The 36 dairies of the scenario, region by region."""
    return tuple(
        Dairy(
            name=name,
            region=region,
            holding=SHARED_HOLDINGS.get(name, name),
            buildings=LAYOUTS[index % len(LAYOUTS)] if name != "Hollow Creek" else (CALVES, STALLS, HEIFERS),
            trouble=TROUBLES.get(name, Trouble()),
            consents_to_region=name not in NO_REGIONAL_CONSENT,
            language="es" if name in SPANISH else "en",
            adviser="north" if region == "Upper Bend" else "south",
        )
        for region, names in NAMES.items()
        for index, name in enumerate(names)
    )


PEOPLE = {
    "north": ("adviser.north@example.org", "Nora Vane (invented)"),
    "south": ("adviser.south@example.org", "Sol Marsh (invented)"),
    "coordinator": ("coordinator@example.org", "Cora Finch (invented)"),
    "recorder": ("recorder@example.org", "Rico Palm (invented)"),
}
