"""Nobody looks next door: every route, asked by everybody, of every farm, with both walls up and with each alone.

Foreign and not existing answer alike, byte for byte; no answer says anything of a foreign farm; nothing of it changes.
The routes come from the resolver, their bodies from the OpenAPI document and from the pages' own forms.
"""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field, replace
from typing import Any

import pytest
from django.core.cache import cache
from django.db import connection, transaction

from tests.cast import as_role
from tests.isolation.asks import PLAIN, Ask, ask_of, crossed, nowhere
from tests.isolation.farm_tables import everything_of
from tests.isolation.markers import ID, Markers, comparable, content_of
from tests.isolation.open_door import opened_door
from tests.isolation.routes import Route, routes
from tests.isolation.scene import Asker, FarmScene, Scene

pytestmark = pytest.mark.filterwarnings("ignore:.*StreamingHttpResponse must consume")
WAYS = ("both walls", "row security alone", "door alone")
# What a foreign farm's addresses may answer: nothing here, or sign in first.
REFUSED = {401, 404, 302, 410}
# Addresses at which nobody of the scene gets anything but a refusal, and why.
NOBODY_GETS_IN = {
    "get /mail/{name}/{number}/": "mails are shown in a demo only",
    "get /mail/{name}/{number}/html/": "mails are shown in a demo only",
    "get /mail/": "mails are shown in a demo only",
    "get /api/nothing-here": "nothing is here",
    "post /api/nothing-here": "nothing is here",
    "post /api/v1/openapi.yaml": "it is only read",
    "post /api/v1/docs": "it is only read",
    "post /api/v1/phone": "the code of its example is no farm's",
    "post /phone/": "the code that is typed is no farm's",
    "get /sign-in/link/{key}/": "the scene's links are somebody else's",
    "post /sign-in/link/{key}/": "and they are spent",
}
# Who asks, and of whom, where one wall stands alone and there is little time: one of every kind of acting person.
FEW_ASKERS = {
    "owner", "recorder", "adviser of the neighbour", "coordinator", "guest", "who left the farm",
    "adviser whose consent was withdrawn", "writing token", "farm phone", "sister's token",
}  # fmt: skip
FEW_FARMS = {"home", "neighbour"}
asked = dict.fromkeys(WAYS, 0)


def askers_of(scene: Scene, way: str) -> list[Asker]:
    everybody = list(scene.askers.values())
    return everybody if way == "both walls" or in_full() else [each for each in everybody if each.name in FEW_ASKERS]


def targets_of(scene: Scene, way: str) -> list[FarmScene]:
    farms = list(scene.farms.values())
    return farms if way == "both walls" or in_full() else [each for each in farms if each.name in FEW_FARMS]


def in_full() -> bool:
    return bool(os.environ.get("FLYROUND_FULL"))


@contextmanager
def only(way: str) -> Iterator[None]:
    """One transaction in which both walls, or one of them, stand; undone at the end."""
    with transaction.atomic():
        with opened_door() if way == "row security alone" else nullcontext(), _row_security(on=way != "door alone"):
            yield
        transaction.set_rollback(True)


@contextmanager
def _row_security(*, on: bool) -> Iterator[None]:
    """Off: as a role that row security passes by, which has all the app's rights."""
    if on:
        yield
        return
    with as_role("factory"), connection.cursor() as cursor:
        cursor.execute("SELECT rolbypassrls FROM pg_roles WHERE rolname = current_user")
        assert cursor.fetchone() == (True,)
        yield
        cursor.execute("SELECT current_user")
        assert cursor.fetchone() == ("flyround_factory",)


@dataclass
class Questioning:
    """One route asked by everybody, one way."""

    scene: Scene
    route: Route
    way: str
    leaks: list[str] = field(default_factory=list)
    got_in: int = 0
    refusals: list[str] = field(default_factory=list)
    before: dict[Any, str] = field(default_factory=dict)

    def run(self) -> None:
        everybodys = list(self.scene.farms.values())
        self._stored(everybodys)
        for asker in askers_of(self.scene, self.way):
            if self.route.is_write:
                self._stored(self.scene.strangers_to(asker))
        for asker in askers_of(self.scene, self.way):
            self._ask_for(asker, Markers(self.scene, asker))
        if self._changed(everybodys):
            self.leaks.append("a refused request changed something")

    def _ask_for(self, asker: Asker, markers: Markers) -> None:
        done: set[str] = set()
        nowhere_answers: dict[str, Any] = {}
        for target in targets_of(self.scene, self.way):
            foreign = self._is_foreign(asker, target)
            ask = ask_of(self.route, target, self.scene, own=not foreign)
            if ask.text in done:
                continue
            done.add(ask.text)
            answer = self._send(asker, ask, markers)
            if foreign:
                # A page behind a mailed key says the same to everybody until its button is pressed.
                refused = answer.status_code in REFUSED or "key" in self.route.names
                if not refused and self.way != "row security alone":
                    self.leaks.append(f"{asker.name}: {answer.status_code} for {ask.address}")
                self._compare(asker, ask, answer, markers, nowhere_answers)
            else:
                # A page that only shows, or only takes, says so to whoever is let in.
                self.got_in += answer.status_code < 400 or answer.status_code == 405
                self.refusals.append(f"{asker.name}: {answer.status_code} {content_of(answer)[:300]!r}")
                self._cross(asker, target, markers)

    def _is_foreign(self, asker: Asker, target: FarmScene) -> bool:
        if not set(self.route.names) - set(PLAIN):
            return False
        if self.route.names[0] in ("group_id", "region_id"):
            return target.farm.group_id not in asker.groups
        return not asker.may_see(target)

    def _cross(self, asker: Asker, own: FarmScene, markers: Markers) -> None:
        """The own farm's addresses, with a foreign farm's ids in them and in what is sent."""
        if own.name == "sister" and "home" in asker.farms:
            return
        for stranger in self.scene.strangers_to(asker):
            if stranger in targets_of(self.scene, self.way):
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
            self.leaks.append(f"{asker.name}: {ask.text} is answered {here}\nand {none.text} {known[shape]}")

    def _send(self, asker: Asker, ask: Ask, markers: Markers) -> Any:
        """The answer, looked through for what it says of foreign farms; whatever it stored is undone."""
        asked[self.way] += 1
        with transaction.atomic():
            answer = sent(asker, ask)
            told = markers.in_answer(answer, ask)
            if told:
                self.leaks.append(f"{asker.name}: {ask.text} tells {sorted(told)[:5]} ({answer.status_code})")
            if self.route.is_write and answer.status_code < 400 and self._changed(self.scene.strangers_to(asker)):
                self.leaks.append(f"{asker.name}: {ask.text} changed a foreign farm")
            if answer.status_code >= 500 and self.way != "row security alone":
                self.leaks.append(f"{asker.name}: {ask.text} crashed")
            transaction.set_rollback(answer.status_code < 400)
        return answer

    def _changed(self, farms: list[FarmScene]) -> bool:
        """Whether anything of these farms is other than it was before the first request."""
        return everything_of(each.farm.id for each in farms) != self._stored(farms)

    def _stored(self, farms: list[FarmScene]) -> str:
        """What was stored of them before; nothing of it may change, so it is read once."""
        names = tuple(each.name for each in farms)
        if names not in self.before:
            self.before[names] = everything_of(each.farm.id for each in farms)
        return self.before[names]


def sent(asker: Asker, ask: Ask) -> Any:
    """The answer to one request; with the entity tag that the service asks for, where it asks for one."""
    # Nobody is held against what somebody else tried before.
    cache.clear()
    answer = _request(asker, ask)
    if answer.status_code == 428:
        tag = asker.sender.get(ask.address.partition("?")[0]).headers.get("ETag", '"none"')
        answer = _request(asker, replace(ask, headers=(("HTTP_IF_MATCH", tag),)))
    return answer


def _request(asker: Asker, ask: Ask) -> Any:
    send: Callable[..., Any] = getattr(asker.sender, ask.method)
    kind = {"content_type": ask.content_type} if ask.content_type else {"format": "multipart"} if ask.data else {}
    data = {"data": ask.data} if ask.data is not None else {}
    return send(ask.address, **data, **kind, **dict(ask.headers), HTTP_X_REQUEST_ID="the-same")


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("route", routes(), ids=str)
def test_nobody_looks_next_door(scene: Scene, route: Route, way: str):
    with only(way):
        questioning = Questioning(scene, route, way)
        questioning.run()
    assert questioning.leaks == []
    if way == "both walls" and str(route) not in NOBODY_GETS_IN:
        assert questioning.got_in, (
            f"Nobody of the scene gets a good answer from {route} for a farm of their own, so it proves nothing. Give "
            "it a body that is taken (tests/isolation/asks.py) or say why nobody gets one in NOBODY_GETS_IN.\n"
            + "\n".join(questioning.refusals)
        )
