"""What somebody finds by typing a few words: only what their doors open, in a fixed number of queries."""

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.urls import reverse
from django.utils.translation import gettext as _

from alerts.selectors import open_alerts_of_farms
from farms.access import Need
from farms.selectors import facilities_of_farms, farms_with_roles, group_roles_of, people_of_farms, regions_open_to
from monitoring.selectors import stations_of_farms
from server.web.folding import folded
from server.web.search_pages import OF_A_COORDINATOR, OF_A_FARM, OF_A_GROUP, OF_A_PERSON, Page, fitting, telling
from server.web.texts_offered import are_texts_offered
from server.web.words import alert_title

if TYPE_CHECKING:
    from farms.access import Role
    from farms.models import Farm, User

LONGEST = 80
SHOWN = 8  # of a kind
FEW_FARMS = 3  # so many may each be named with a page of settings


@dataclass(frozen=True)
class Found:
    """One thing that was found, where it is, and what it belongs to. Without an address: what else to type."""

    name: str
    address: str
    of: str = ""


@dataclass(frozen=True)
class Kind:
    """Everything of one kind: the first ones, and how many more there are."""

    heading: str
    found: tuple[Found, ...]
    more: int


@dataclass(frozen=True)
class Known:
    """The farms that somebody may see, with their role on each."""

    farms: "dict[UUID, Farm]"
    roles: "dict[UUID, Role]"

    def where(self, need: Need) -> list[UUID]:
        return [farm_id for farm_id, role in self.roles.items() if need in role.may]


def search(user: "User", text: str, today: date) -> list[Kind]:
    """By kind, what has all of the words somewhere in its name or its farm's; for pages, most of them."""
    words = folded(text[:LONGEST]).replace("?", " ").split()
    if not words:
        return []
    pairs = farms_with_roles(user)
    known = Known({farm.id: farm for farm, _role in pairs}, {farm.id: role for farm, role in pairs})
    roles = list(group_roles_of(user))
    kinds: list[tuple[str, Iterable[Found]]] = [
        (_("Farms"), _of(known.farms.values(), lambda farm: (farm.name, "farm", farm, {}), words)),
        (_("Barns and lots"), _facilities(known, words)),
        (_("Cards, traps and leg counts"), _stations(known, words, today)),
        (_("Open matters"), _matters(known, words)),
        (_("People"), _people(known, words)),
        (_("Regions"), _regions(user, words)),
        (_("Pages"), _pages(user, known, roles, words)),
    ]
    found = [(heading, tuple(some)) for heading, some in kinds]
    return [Kind(heading, some[:SHOWN], max(len(some) - SHOWN, 0)) for heading, some in found if some]


def _of(
    records: Iterable[Any], told: "Callable[[Any], tuple[str, str, Farm, dict[str, Any]]]", words: Sequence[str]
) -> Iterator[Found]:
    """Those whose name, with that of their farm, has all words. `told`: name, page, farm, what else the page takes."""
    for record in records:
        name, page, farm, more = told(record)
        if _has_all(words, f"{name} {farm.name}"):
            address = reverse(page, kwargs={"farm_id": farm.id} | more)
            yield Found(name, address, farm.region.name if page == "farm" and name == farm.name else farm.name)


def _has_all(words: Sequence[str], text: str) -> bool:
    there = folded(text)
    tokens = set(there.split())
    return all(_is_in(word, there, tokens) for word in words)


def _is_in(word: str, text: str, tokens: Collection[str]) -> bool:
    """Some letters of it; a number as a whole, so that 4 isn't found in 14."""
    return word in tokens if word.isdecimal() else word in text


def _facilities(known: Known, words: Sequence[str]) -> Iterator[Found]:
    rows = facilities_of_farms(list(known.farms))
    # What every barn of a farm would answer to is the farm itself.
    named = (row for row in rows if any(word in folded(row.name) for word in words))
    manages = set(known.where(Need.MANAGE))
    return _of(
        named,
        lambda row: (row.name, "stations" if row.farm_id in manages else "farm", known.farms[row.farm_id], {}),
        words,
    )


def _stations(known: Known, words: Sequence[str], today: date) -> Iterator[Found]:
    """By their number, so that "north 4" is Card 4 of Northfield; a word alone would find every one."""
    numbers = [int(word) for word in words if word.isdecimal() and len(word) < 5]
    rows = stations_of_farms(list(known.farms), numbers, today)
    manages = set(known.where(Need.MANAGE))

    def told(row: Any) -> "tuple[str, str, Farm, dict[str, Any]]":
        farm = known.farms[row.farm_id]
        if farm.id in manages:
            return row.label, "siting", farm, {"station_id": row.id}
        return row.label, "farm", farm, {}

    return _of(rows, told, words)


def _matters(known: Known, words: Sequence[str]) -> Iterator[Found]:
    rows = open_alerts_of_farms(known.where(Need.READ)).select_related("facility")
    named = (row for row in rows if any(word in folded(alert_title(row)) for word in words))
    return _of(named, lambda row: (alert_title(row), "alert", known.farms[row.farm_id], {"alert_id": row.id}), words)


def _people(known: Known, words: Sequence[str]) -> Iterator[Found]:
    """Who counts on the farms that one may manage."""
    rows = people_of_farms(known.where(Need.MANAGE))
    named = (row for row in rows if any(word in folded(f"{row.name} {row.initials}") for word in words))
    return _of(named, lambda row: (row.name, "people", known.farms[row.farm_id], {}), words)


def _regions(user: "User", words: Sequence[str]) -> Iterator[Found]:
    for region in regions_open_to(user):
        if _has_all(words, f"{region.name} {region.group.name}"):
            yield Found(region.name, reverse("region", args=[region.id]), region.group.name)


def _pages(user: "User", known: Known, roles: Sequence[Any], words: Sequence[str]) -> Iterator[Found]:
    """Pages that this person may open: their own, their groups', their farms'. A guest has none."""
    asked = telling(words)
    if known.farms or roles:
        offered = are_texts_offered(user)
        there = [page for page in OF_A_PERSON if page.name != "text_messages" or offered]
        for page in fitting(there, asked):
            yield Found(str(page.title), reverse(page.name))
    for role in roles:
        pages = (*OF_A_GROUP, *(OF_A_COORDINATOR if role.role == "coordinator" else ()))
        for page in fitting(pages, asked):
            yield Found(str(page.title), reverse(page.name, args=[role.group_id]), role.group.name)
    names = [folded(farm.name) for farm in known.farms.values()]
    named = [word for word in asked if any(_is_in(word, name, name.split()) for name in names)]
    pages_of_farm = fitting(OF_A_FARM, [word for word in asked if word not in named])
    for page in pages_of_farm or fitting(OF_A_FARM, asked):
        yield from _of_farms(page, known, named)


def _of_farms(page: Page, known: Known, named: Collection[str]) -> Iterator[Found]:
    """A farm's page for each farm that most of the words name, or for each of a few."""
    counts = {farm_id: _words_in(known.farms[farm_id].name, named) for farm_id in known.where(page.needs or Need.READ)}
    most = max(counts.values(), default=0)
    meant = [known.farms[farm_id] for farm_id, count in counts.items() if count == most]
    if len(meant) > FEW_FARMS:
        yield Found(str(page.title), "", _("of which farm? Type its name, too"))
        return
    for farm in meant:
        yield Found(str(page.title), reverse(page.name, kwargs={"farm_id": farm.id}), farm.name)


def _words_in(name: str, words: Collection[str]) -> int:
    text = folded(name)
    return sum(_is_in(word, text, text.split()) for word in words)
