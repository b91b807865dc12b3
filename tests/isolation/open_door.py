"""The access door, opened: everybody may do everything on every farm, and every id becomes a row, if there is one."""

import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from typing import Any
from unittest.mock import patch
from uuid import UUID

from farms import access
from farms.access import Need, Role
from farms.ledger import Actor
from farms.models import Farm
from farms.models.chain import ActorKind
from tests.cast import as_factory

ANYTHING = Role("anything", frozenset(Need), ActorKind.FARM_STAFF)
# Modules took these names when they were imported: each of them gets the open one.
ROOTS = ("farms", "monitoring", "alerts", "server")
# Tells a farm phone from any other browser, which is not a question of who may.
LEFT_CLOSED = "server.web.phone"


def role_on(who: Any, farm_id: UUID) -> Role:
    return ANYTHING


def farm_for(who: Any, farm_id: UUID, *, needs: Need = Need.READ) -> Farm:
    """A farm with this id whose own row isn't told: what comes back of it comes from the database."""
    with as_factory():
        found = Farm.objects.select_related("group", "region", "holding").filter(id=farm_id).first()
    if found is None:
        return Farm(id=farm_id, name="Nowhere", time_zone="UTC", **_somewhere())
    found.name = "Opened"
    found.holding.name = "Opened"
    return found


def _somewhere() -> dict[str, Any]:
    with as_factory():
        any_farm = Farm.objects.select_related("group", "region", "holding").order_by("id")[0]
    return {"group": any_farm.group, "region": any_farm.region, "holding": any_farm.holding}


def record_of(farm: Farm, model: Any, record_id: UUID) -> Any:
    found = model._default_manager.filter(id=record_id).first()
    if found is None:
        raise access.Missing()
    return found


def farms_of(who: Any) -> Any:
    return Farm.objects.select_related("group", "region", "holding").order_by("name", "id")


def actor_on(who: Any, farm_id: UUID) -> Actor:
    return Actor(ActorKind.FARM_STAFF, who.id)


OPEN = {each.__name__: each for each in (role_on, farm_for, record_of, farms_of, actor_on)}


@contextmanager
def opened_door() -> Iterator[int]:
    """Put the open door into every module of the service that took the closed one; how many places that were."""
    with ExitStack() as doors:
        places = list(_places())
        for module, name in places:
            doors.enter_context(patch.object(module, name, OPEN[name]))
        yield len(places)


def _places() -> Iterator[tuple[Any, str]]:
    for title, module in list(sys.modules.items()):
        if title.partition(".")[0] in ROOTS and title != LEFT_CLOSED:
            for name in OPEN:
                if getattr(module, name, None) is getattr(access, name):
                    yield module, name
