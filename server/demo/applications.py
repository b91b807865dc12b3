"""Invented products, and a few invented sprays, pour-ons and baits of the scenario's season. None is for sale."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db import transaction

from farms.tenancy.acting import act_for_user
from monitoring.models import Product
from monitoring.rules.application import Measured, People
from monitoring.rules.label import Label
from monitoring.services import (
    Applied,
    CertifierTyped,
    Writer,
    label_of,
    list_product,
    mark_organic,
    note_certifier_answer,
    record_application,
)
from server.demo import scenario
from server.demo.clockwork import evening_of
from server.demo.farmyard import OPENED, Cast, Yard

WALLS, CATTLE, GRANULES = "Invented Wall Spray", "Invented Pour-On", "Invented Granules"
LABELS = (
    Label(WALLS, "00000-1", "inventedthrin", ("3A",), "residual", 24, "until sprays have dried and aired for a day"),
    Label(CATTLE, "00000-2", "fictimethrin", ("3A",), "on_animals", None, "", 24, 7),
    Label(GRANULES, "00000-3", "imaginuron", ("15",), "larvicide", 4, "not before four hours have passed"),
)
WALL = Measured(Decimal("2.5"), "gal", Decimal(450), "m2")
ORGANIC = "Alder Bank"


@dataclass(frozen=True)
class Use:
    """What is used where and when. `hired`: filled in by a hired sprayer, and not confirmed yet."""

    farm: str
    product: str
    day: date
    measured: Measured
    target: str = "house_flies"
    building: int = 0
    hired: bool = False


USES = (
    Use("Windrow Hill", WALLS, date(2026, 7, 6), WALL),
    Use("Windrow Hill", WALLS, date(2026, 8, 10), WALL),
    Use("Wagon Wheel", GRANULES, date(2026, 7, 27), Measured(Decimal(3), "kg", Decimal(300), "m2"), "maggots"),
    Use("Hay Ring", CATTLE, date(2026, 8, 13), Measured(Decimal("1.8"), "l", animals=60), "stable_flies", 1),
    Use("Hollow Creek", WALLS, date(2026, 8, 16), WALL, hired=True),
)


def list_products(cast: Cast) -> None:
    """The group's list, typed by an adviser before the season."""
    with transaction.atomic():
        for label in LABELS:
            list_product(group=cast.group, label=label, by=cast.advisers["north"], now=OPENED)


def keep_organic(yards: Iterable[Yard]) -> None:
    """One farm is kept organic, and its certifier was asked about one product."""
    for yard in yards:
        if yard.dairy.name == ORGANIC:
            asked, answered = scenario.REGISTERED, scenario.REGISTERED + timedelta(days=9)
            typed = CertifierTyped(GRANULES, "00000-3", asked, answered, "on_conditions", "calf barn only")
            with transaction.atomic():
                act_for_user(yard.owner.id)
                actor = yard.actor()
                mark_organic(farm=yard.farm, is_organic=True, from_on=asked, actor=actor, now=OPENED)
                note_certifier_answer(farm=yard.farm, typed=typed, actor=actor, now=evening_of(answered))


def apply_before(yards: Iterable[Yard], monday: date) -> None:
    """What was used in the week before a Monday, each noted on its evening."""
    by_name = {yard.dairy.name: yard for yard in yards}
    for use in USES:
        if monday - timedelta(days=7) <= use.day < monday:
            _apply(by_name[use.farm], use)


def _apply(yard: Yard, use: Use) -> None:
    product = Product.objects.get(group=yard.farm.group, name=use.product)
    begun = datetime.combine(use.day, datetime.min.time(), ZoneInfo(scenario.TIME_ZONE)) + timedelta(hours=8)
    who = "Hired sprayer (invented)" if use.hired else "Farm staff (invented)"
    applied = Applied(
        label=label_of(product),
        measured=use.measured,
        people=People(who, "IN-0000", "", yard.farm.name),
        target=use.target,
        begins_at=begun,
        ends_at=begun + timedelta(hours=1),
        facility=list(yard.buildings.values())[use.building],
        product_id=product.id,
    )
    with transaction.atomic():
        act_for_user(yard.owner.id)
        writer = Writer(yard.actor(), through_link=use.hired)
        record_application(farm=yard.farm, applied=applied, by=writer, now=evening_of(use.day))
