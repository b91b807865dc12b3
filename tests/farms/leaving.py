"""How the tests let an adviser leave, and look at what came of it."""

from collections.abc import Callable
from datetime import date
from threading import Thread

from alerts.services import let_adviser_leave
from farms import services
from farms.models import (
    AdviserOffer,
    Consent,
    Farm,
    Group,
    GroupMember,
    Region,
    User,
)
from farms.offers import offers_of
from tests.cast import NOW, acting, as_factory, as_role

DAY = date(2026, 6, 15)
TODAY = NOW.date()


def role_of(user: User) -> GroupMember:
    return GroupMember.objects.get(user=user, role="adviser")


def leave(dana: User, erik: User, successor: User | None = None, region: Region | None = None, day: date = DAY) -> None:
    follows = services.Successor(successor, day, region) if successor else None
    with acting(erik):
        let_adviser_leave(role=role_of(dana), successor=follows, by=erik, now=NOW)


def agree(farm: Farm, owner: User, adviser: User, **more: bool) -> Consent:
    with acting(owner):
        return services.give_consent(farm=farm, kind="adviser", adviser=adviser, by=owner, now=NOW, **more)


def offer_of(farm: Farm) -> AdviserOffer:
    with as_factory():
        return offers_of(farm).filter(ended_at__isnull=True).get()


def begun(group: Group, day: date) -> int:
    with as_role("worker"):
        return services.begin_due(group_id=group.id, today=day, now=NOW + (day - TODAY))


def together(*deeds: Callable[[], None]) -> None:
    threads = [Thread(target=each) for each in deeds]
    for each in threads:
        each.start()
    for each in threads:
        each.join(30)
