"""Browsers of the cast. Imports wait until Django is set up: pytest may read this file before that."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest


@pytest.fixture(autouse=True)
def standing_clock(settings: Any, tmp_path: Path) -> None:
    """The service's clock shows the cast's NOW; codes, links and keys live by the real one."""
    from tests.cast import NOW

    path = tmp_path / "clock"
    path.write_text(NOW.isoformat())
    settings.CLOCK_FILE = str(path)
    settings.DEMO_MAIL_DIR = ""


@pytest.fixture(autouse=True)
def no_tries_yet() -> None:
    """Every test may try its codes anew."""
    from django.core.cache import cache

    cache.clear()


@pytest.fixture
def browser() -> Callable[..., Any]:
    """Make browsers: anybody's without a user, Anna's and signed in with hers."""
    from django.test import Client

    def make(user: Any = None) -> Any:
        client = Client()
        if user is not None:
            client.force_login(user)
        return client

    return make
