"""Northfield with a record of every kind, some days signed over it, and its report in every form."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from farms.ids import uuid7
from farms.models import Farm, User
from monitoring.models import Station
from monitoring.services import HungSent
from server.season_report.blocks import Report
from server.season_report.ground import Ground
from server.season_report.report import season_report
from server.season_report.wanted import Wanted
from tests.cast import NOW, SEASON_OPENS, acting
from tests.monitoring.sending import reading, send
from tests.server.evidence import scene
from tests.server.evidence.conftest import records, signed

__all__ = ["records", "signed"]
WANTED = Wanted("farm", SEASON_OPENS, NOW.date(), "en", "letter")


@pytest.fixture(autouse=True)
def at_the_casts_moment(standing_clock: Any) -> None:
    """The clock shows the cast's NOW."""


@pytest.fixture
def kinds_of_counts(records: Any, anna: User, cards: list[Station], leg_station: Station) -> None:
    """What else a reading may be: a part, too many to count, lost, late, up for two days and for twenty, legs."""
    farm = records[0]
    with acting(anna):
        hung = tuple(HungSent(uuid7(), card.id, date(2026, 5, 2)) for card in cards)
        send(farm, on=date(2026, 5, 2), now=scene.noon(date(2026, 5, 2)), hung=hung)
        found = [
            reading(cards[0], 61, how="part", fraction=Decimal("0.25"), hung_on=date(2026, 5, 2)),
            reading(cards[1], 312, at_least=True, hung_on=date(2026, 5, 2)),
            reading(cards[2], reason="lost", hung_on=date(2026, 5, 2)),
        ]
        send(farm, *found, on=date(2026, 5, 22), now=scene.noon(date(2026, 5, 22)))
        legs = reading(leg_station, 131, animals=(8, 14, 9, 12, 11, 15, 10, 13, 9, 12, 11, 7), pen="Pen 2",
                       weather="sunny", bunching=True)  # fmt: skip
        send(farm, legs, on=date(2026, 5, 20), now=scene.noon(date(2026, 5, 20)))
        short = reading(cards[3], 1207, hung_on=date(2026, 5, 29))
        send(farm, short, on=date(2026, 5, 31), now=scene.noon(date(2026, 5, 31)), source="paper")


@pytest.fixture
def made(anna: User) -> Callable[..., Report]:
    def make(farm: Farm, **more: Any) -> Report:
        with acting(anna):
            return season_report(Ground(farm, replace(WANTED, **more), NOW))

    return make
