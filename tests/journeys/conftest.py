"""The barn of the journeys with a phone. Imports wait until Django is set up: pytest may read this file before that."""

from datetime import timedelta
from typing import Any

import pytest


@pytest.fixture
def in_the_barn(standing_clock: Any, monkeypatch: pytest.MonkeyPatch, northfield: Any, cards: Any) -> None:
    """Monday, 1 June: Northfield's cards hang since a week."""
    from monitoring.models import Placement
    from tests.cast import NOW, as_factory

    # Playwright keeps an event loop in this thread; the database is asked before and after it, never inside.
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    hung_on = (NOW - timedelta(days=7)).date()
    with as_factory():
        Placement.objects.bulk_create(
            Placement(farm=northfield, station_id=card.id, hung_on=hung_on, zone="UTC", entry=1) for card in cards
        )
