"""Nobody looks next door: every route, asked by everybody, of every farm, with both walls up and with each alone.

Foreign and not existing answer alike, byte for byte; no answer says anything of a foreign farm; nothing of it changes.
The routes come from the resolver, their bodies from the OpenAPI document and from the pages' own forms.
"""

import re
from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass, field, replace
from typing import Any
from zlib import crc32

import pytest
from django.core.cache import cache
from django.db import transaction

from tests.architecture.source import ROOT
from tests.full import FULL
from tests.isolation.asks import (
    HARMLESS_QUERIES,
    PAGE_QUERIES,
    PLAIN,
    Ask,
    NotFilled,
    ask_of,
    crossed,
    document,
    nowhere,
    operation,
)
from tests.isolation.farm_tables import everything_of
from tests.isolation.markers import ID, Markers, comparable, content_of
from tests.isolation.routes import Route, routes
from tests.isolation.scene import Asker, FarmScene, Scene
from tests.isolation.walls import WAYS, only

pytestmark = pytest.mark.filterwarnings("ignore:.*StreamingHttpResponse must consume")
# What a foreign farm's addresses may answer: nothing here, or sign in first.
REFUSED = {401, 404, 302, 410}
# Addresses at which nobody of the scene gets anything but a refusal, and why.
NOBODY_GETS_IN = {
    "get /mail/{name}/{number}/": "mails are shown in a demo only",
    "get /mail/{name}/{number}/html/": "mails are shown in a demo only",
    "get /feeds/{key}/rounds.ics": "the scene's keys are dead; live ones are tried in test_secret_addresses.py",
    "get /feeds/{key}/matters.atom": "likewise",
    "get /mail-choice/{key}/": "the scene's are signed by nobody; live ones are tried in test_secret_addresses.py",
    "post /mail-choice/{key}/": "likewise",
    "get /mail-events/": "no mail service reports here; tests/server/test_mail_events.py",
    "post /mail-events/": "likewise",
    "get /text-messages/": "no service sends text messages here; tests/server/web/test_text_messages.py",
    "post /text-messages/": "likewise",
    "post /text-messages/code/": "likewise",
    "get /mail/": "mails are shown in a demo only",
    "get /look/": "the look is shown in a demo only",
    "get /metrics": "it takes the watcher's own token (tests/server/test_metrics.py)",
    "post /metrics": "it is only read",
    "get /running/": "it is the office's, and nobody of the scene is staff (tests/server/web/test_running.py)",
    "post /running/": "likewise",
    "get /api/nothing-here": "nothing is here",
    "post /api/nothing-here": "nothing is here",
    "post /api/v1/openapi.yaml": "it is only read",
    "post /api/v1/docs": "it is only read",
    "post /api/v1/phone": "the code of its example is no farm's",
    "post /phone/": "the code that is typed is no farm's",
    "get /sign-in/link/{key}/": "the scene's links are somebody else's",
    "post /sign-in/link/{key}/": "and they are spent",
    "get /spray-record/{key}/": "the scene's keys are dead; live ones are tried in test_secret_addresses.py",
    "post /spray-record/{key}/": "likewise",
    "get /invitation/{key}/": "no key of the scene opens an invitation (test_invitations.py has them)",
    "post /invitation/{key}/": "likewise",
    "get /coordinating/mails/{coordinator_report_id}/": "the scene's are others' (test_sent_mails.py has both)",
    "get /coordinating/mails/{coordinator_report_id}/html/": "likewise",
    "get /api/v1/me/coordinator-reports/{coordinator_report_id}": "likewise (tests/server/api/test_mails.py)",
    "post /api/v1/groups/{group_id}/advisers/{group_adviser_id}/successor": "the scene's advisers stay",
    "post /api/v1/groups/{group_id}/advisers/{group_adviser_id}/leave": "likewise (tests/server/api/test_advisers.py)",
    "post /api/v1/groups/{group_id}/action-levels/taken-back": "no group of the scene has a level of its own",
    "post /api/v1/groups/{group_id}/advisers/{group_adviser_id}/promises": "its adviser is of a further group",
    "get /api/v1/me/erasure": "nobody of the scene wants to be erased (tests/server/api/test_erasures.py)",
    "delete /api/v1/me/erasure": "likewise",
    "get /monday/letters/": "every owner of the scene has an address; who gets which is in test_letters.py",
    "get /api/v1/groups/{group_id}/letters": "likewise",
}
# What a coordinator does to every farm of the group that is named, and learns nothing of them by it.
CHANGES_ITS_GROUP = {"post /groups/{group_id}/advisers/{group_adviser_id}/": "an adviser who leaves loses all of them"}
# Who asks, and of whom, where one wall stands alone and there is little time: one of every kind of acting person.
FEW_ASKERS = {
    "owner", "adviser of the neighbour", "coordinator", "who left the farm", "adviser whose consent was withdrawn",
    "writing token", "farm phone", "sister's token",
}  # fmt: skip
FEW_FARMS = {"home", "neighbour"}


def askers_of(scene: Scene, way: str) -> list[Asker]:
    everybody = list(scene.askers.values())
    return everybody if way == "both walls" or in_full() else [each for each in everybody if each.name in FEW_ASKERS]


def in_full() -> bool:
    return FULL


@dataclass
class Questioning:
    """One route asked by everybody, one way."""

    scene: Scene
    route: Route
    way: str
    leaks: list[str] = field(default_factory=list)
    asked: int = 0
    got_in: int = 0
    refusals: list[str] = field(default_factory=list)

    def run(self) -> None:
        everybodys = list(self.scene.farms.values())
        self._stored(everybodys)
        for asker in askers_of(self.scene, self.way):
            if self.route.is_write:
                self._stored(self.scene.strangers_to(asker))
        for asker in askers_of(self.scene, self.way):
            self._ask_for(asker, Markers(self.scene, asker))
        changed = self._changed(everybodys)
        if changed:
            self.leaks.append(f"refused requests changed {changed}")

    def _ask_for(self, asker: Asker, markers: Markers) -> None:
        done: set[str] = set()
        nowhere_answers: dict[str, Any] = {}
        for target in self._targets(asker):
            foreign = self._is_foreign(asker, target)
            ask = ask_of(self.route, target, self.scene, own=not foreign)
            if ask.text in done:
                continue
            done.add(ask.text)
            answer = self._send(asker, ask, markers)
            if foreign:
                # What lies under no farm or group may be refused in other words, alike for whatever isn't there.
                under = self.route.names[0] in ("farm_id", "group_id", "region_id")
                shown_only = answer.status_code == 405 and self.route.names[0] != "farm_id"
                refused = answer.status_code in REFUSED or not under or shown_only
                if not refused and self.way != "row security alone":
                    self.leaks.append(f"{asker.name}: {answer.status_code} for {ask.address}")
                self._compare(asker, ask, answer, markers, nowhere_answers)
            else:
                self.got_in += lets_in(answer)
                self.refusals.append(f"{asker.name}: {answer.status_code} {content_of(answer)[:300]!r}")
                self._cross(asker, target, markers)

    def _targets(self, asker: Asker) -> list[FarmScene]:
        """The farms that are asked about. Where there is little time: both walls by everybody of their own and of one
        foreign farm, another one at each route, so that each route is asked of each farm by some; else of two.
        """
        farms = list(self.scene.farms.values())
        if in_full():
            return farms
        if self.way != "both walls":
            return [each for each in farms if each.name in FEW_FARMS]
        foreign = [each for each in farms if self._is_foreign(asker, each)]
        # One after the other, so that those who see no farm at all try each of the four at every address.
        turn = list(self.scene.askers).index(asker.name) + crc32(str(self.route).encode())
        kept = foreign[turn % len(foreign)] if foreign else None
        return [each for each in farms if each is kept or each not in foreign]

    def _is_foreign(self, asker: Asker, target: FarmScene) -> bool:
        if not set(self.route.names) - set(PLAIN):
            return False
        if self.route.names[0] in ("group_id", "region_id"):
            return target.farm.group_id not in asker.groups
        return not asker.may_see(target)

    def _cross(self, asker: Asker, own: FarmScene, markers: Markers) -> None:
        """The own farm's addresses, with a foreign farm's ids in them and in what is sent."""
        twice = own.name == "sister" and "home" in asker.farms
        if twice or not self.route.names:
            return
        of_group = self.route.names[:1] in (["group_id"], ["region_id"])
        for stranger in self.scene.strangers_to(asker):
            colleague = of_group and stranger.farm.group_id == own.farm.group_id
            if stranger in self._targets(asker) and not colleague:
                for ask in crossed(self.route, own, stranger, self.scene):
                    self._compare(asker, ask, self._send(asker, ask, markers), markers, {}, keep=own)

    def _compare(
        self, asker: Asker, ask: Ask, answer: Any, markers: Markers, known: dict[str, Any],
        keep: FarmScene | None = None,
    ) -> None:  # fmt: skip
        """A foreign id and one that nobody has are answered alike. `known`: what was answered to the latter before."""
        if self.way == "row security alone" or not ask.compares:
            return
        none = nowhere(ask, list(self.scene.farms.values()), keep)
        shape = ID.sub("", none.text)
        if shape not in known:
            known[shape] = comparable(self._send(asker, none, markers), none)
        here = comparable(answer, ask)
        if here != known[shape]:
            self.leaks.append(f"{asker.name}: {ask.text} and {none.text}: {difference(here, known[shape])}")

    def _not_to_change(self, asker: Asker, ask: Ask) -> list[FarmScene]:
        """The farms that a request may not change: foreign ones, but for what a coordinator does to a whole group."""
        strangers = self.scene.strangers_to(asker)
        if str(self.route) in CHANGES_ITS_GROUP and asker.name.startswith("coordinator"):
            return [each for each in strangers if str(each.farm.group_id) not in ask.address]
        return list(strangers)

    def _send(self, asker: Asker, ask: Ask, markers: Markers) -> Any:
        """The answer, looked through for what it says of foreign farms; whatever it stored is undone."""
        self.asked += 1
        with transaction.atomic():
            answer = sent(asker, ask)
            told = markers.in_answer(answer, ask)
            if told:
                self.leaks.append(f"{asker.name}: {ask.text} tells {sorted(told)[:5]} ({answer.status_code})")
            if self.route.is_write and answer.status_code < 400 and self._changed(self._not_to_change(asker, ask)):
                self.leaks.append(f"{asker.name}: {ask.text} changed a foreign farm")
            if answer.status_code >= 500 and self.way != "row security alone":
                self.leaks.append(f"{asker.name}: {ask.text} crashed")
            transaction.set_rollback(answer.status_code < 400)
        return answer

    def _changed(self, farms: list[FarmScene]) -> list[str]:
        """The tables in which anything of these farms is other than it was before the first request."""
        now, before = everything_of(each.farm.id for each in farms), self._stored(farms)
        return [table for table in now if now[table] != before[table]]

    def _stored(self, farms: list[FarmScene]) -> dict[str, str]:
        """What was stored of them before the first test; every test undoes what it did, so it is read once."""
        names, kept = tuple(each.name for each in farms), self.scene.stored
        if names not in kept:
            kept[names] = everything_of(each.farm.id for each in farms)
        return kept[names]


def difference(here: tuple[Any, ...], there: tuple[Any, ...]) -> str:
    """Where two answers part."""
    first, second = repr(here), repr(there)
    at = next((place for place, (a, b) in enumerate(zip(first, second, strict=False)) if a != b), len(first))
    start = max(at - 60, 0)
    return f"...{first[start : at + 120]} or ...{second[start : at + 120]}"


def sent(asker: Asker, ask: Ask) -> Any:
    """The answer to one request; with the entity tag that the service asks for, where it asks for one."""
    # Nobody is held against what somebody else tried before, and nobody stays signed out or in by what they tried.
    cache.clear()
    cookies = deepcopy(asker.sender.cookies)
    try:
        answer = _request(asker, ask)
        if answer.status_code == 428:
            tag = asker.sender.get(ask.address.partition("?")[0]).headers.get("ETag", '"none"')
            answer = _request(asker, replace(ask, headers=(("HTTP_IF_MATCH", tag),)))
    finally:
        asker.sender.cookies = cookies
    return answer


def lets_in(answer: Any) -> bool:
    """Not a refusal, nor the way to the sign-in. A page that only shows, or only takes, says so to who is let in."""
    away = answer.headers.get("Location", "").startswith("/sign-in/") and "next=" in answer.headers["Location"]
    return (answer.status_code < 400 or answer.status_code == 405) and not away


def _request(asker: Asker, ask: Ask) -> Any:
    for each in ask.data.values() if isinstance(ask.data, dict) else ():
        if hasattr(each, "seek"):  # read to its end, where it was sent before
            each.seek(0)
    send: Callable[..., Any] = getattr(asker.sender, ask.method)
    kind = {"content_type": ask.content_type} if ask.content_type else {"format": "multipart"} if ask.data else {}
    data = {"data": ask.data} if ask.data is not None else {}
    return send(ask.address, **data, **kind, **dict(ask.headers), HTTP_X_REQUEST_ID="the-same")


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("route", routes(), ids=str)
def test_nobody_looks_next_door(scene: Scene, route: Route, way: str, record_property: Any):
    with only(way):
        questioning = Questioning(scene, route, way)
        questioning.run()
    record_property(f"asked with {way}: cells of the isolation matrix", questioning.asked)
    assert questioning.leaks == []
    if way == "both walls" and str(route) not in NOBODY_GETS_IN:
        assert questioning.got_in, (
            f"Nobody of the scene gets a good answer from {route} for a farm of their own, so it proves nothing. Give "
            "it a body that is taken (tests/isolation/asks.py) or say why nobody gets one in NOBODY_GETS_IN.\n"
            + "\n".join(questioning.refusals)
        )


def test_the_router_and_the_document_name_the_same_routes():
    documented = {f"{method} {path}" for path, operations in document()["paths"].items() for method in operations}
    unsaid = {"get /api/v1/openapi.yaml", "get /api/v1/docs"}
    with_actions = {str(route) for route in routes() if route.is_api and operation(route)}
    routed = {str(route) for route in routes() if route.is_api and route.is_action} - unsaid
    assert documented == routed == with_actions


def test_every_name_that_a_page_reads_from_its_address_was_thought_about():
    sources = (path.read_text() for path in (ROOT / "server" / "web").rglob("*.py"))
    read = {name for source in sources for name in re.findall(r"\.GET(?:\.get(?:list)?\(|\[)\"(\w+)\"", source)}
    known = HARMLESS_QUERIES | {name for names in PAGE_QUERIES.values() for name in names}
    assert read <= known, (
        f"Pages read {sorted(read - known)} from their address. If it is an id, add it to PAGE_QUERIES of "
        "tests/isolation/asks.py; if not, to HARMLESS_QUERIES."
    )


def test_an_address_that_nothing_fits_is_told_with_where_to_add_it(scene: Scene):
    unheard = Route("get", "api/v1/farms/{farm_id}/hedges/{hedge_id}")
    with pytest.raises(NotFilled, match=r"hedge_id in get /api/v1/farms/.*`Scene._ids_of` of tests/isolation/scene.py"):
        ask_of(unheard, scene.farms["home"], scene, own=True)


def test_the_markers_are_found_where_they_are_told(scene: Scene):
    """What a foreign farm's owner is told is full of markers; so an answer without any is one without the farm."""
    home, stranger = scene.farms["home"], scene.askers["owner of the neighbour"]
    owner = scene.askers["owner"]
    tells = {}
    for route in routes():
        if route.method == "get" and route.names == ["farm_id"]:
            ask = ask_of(route, home, scene, own=True)
            tells[str(route)] = bool(Markers(scene, stranger).in_answer(sent(owner, ask), replace(ask, address="")))
    assert sum(tells.values()) > 0.8 * len(tells), [route for route, told in tells.items() if not told]
