"""The cast's feeds. Imports wait until Django is set up: pytest may read this file before that."""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest


@pytest.fixture(autouse=True)
def move_clock(standing_clock: Path, settings: Any) -> Callable[[datetime], None]:
    """The service's clock shows the cast's NOW, or where it is moved to; addresses live by the real one."""
    settings.SITE_URL = "https://flies.example.org"

    def move(moment: datetime) -> None:
        standing_clock.write_text(moment.isoformat())

    return move


@pytest.fixture(autouse=True)
def no_tries_yet() -> None:
    """What the tests before tried isn't held against this one."""
    from django.core.cache import cache

    cache.clear()
