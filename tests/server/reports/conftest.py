"""Every test here at the cast's moment. Imports wait until Django is set up: pytest may read this file before that."""

from collections.abc import Callable
from typing import Any

import pytest


@pytest.fixture(autouse=True)
def at_the_casts_moment(standing_clock: Any) -> None:
    """The clock shows the cast's NOW."""


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
