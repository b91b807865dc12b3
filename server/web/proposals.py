"""What the guide proposes: names of buildings, and numbered cards, traps and leg counts in walking order."""

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from monitoring.methods import CARD
from server.web.choices import label_of

# At least five devices of a method in each housing unit (a Spanish-language state fly guide; common practice).
DEVICES = 5
# No kinds of housing that the floor below names may be missing here: tests/server/web/test_start.py compares them.
HOUSING = frozenset({
    "calf_hutches", "calf_barn", "free_stall_barn", "tie_stall_barn", "bedded_pack", "heifer_barn", "maternity_pen",
})  # fmt: skip


@dataclass(frozen=True)
class ProposedStation:
    facility: Any
    method: str
    number: int


def proposed_names(wanted: Mapping[str, int], taken: Collection[str]) -> list[tuple[str, str]]:
    """Kind and name of each building, in the order of kinds; numbered where there are several of a kind."""
    known = {name.casefold() for name in taken}
    found = []
    for kind, number in wanted.items():
        for _each in range(number):
            name = _free(str(label_of("farms.Facility", "kind", kind)), known, alone=number == 1)
            known.add(name.casefold())
            found.append((kind, name))
    return found


def _free(label: str, known: Collection[str], *, alone: bool) -> str:
    label = label[:1].upper() + label[1:]
    if alone and label.casefold() not in known:
        return label
    number = 1
    while f"{label} {number}".casefold() in known:
        number += 1
    return f"{label} {number}"


def usual_number(facility: Any, method: str, stations: Collection[Any]) -> int:
    """How many more of a method a building is proposed: five cards, less what hangs there, where animals are housed."""
    if method != CARD.code or facility.kind not in HOUSING:
        return 0
    here = sum(each.facility_id == facility.id and each.method == method for each in stations)
    return max(DEVICES - here, 0)


def proposed_stations(wanted: Sequence[tuple[Any, str, int]], stations: Collection[Any]) -> list[ProposedStation]:
    """So many of each method in each building, numbered on in the order of the walk."""
    last: Counter[str] = Counter()
    for each in stations:
        last[each.method] = max(last[each.method], each.number)
    found = []
    for facility, method, number in wanted:
        for _each in range(number):
            last[method] += 1
            found.append(ProposedStation(facility, method, last[method]))
    return found
