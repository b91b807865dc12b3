"""Fixtures of the API's tests. Imports wait until Django is set up: pytest may read this file before that."""

from typing import Any

import pytest


@pytest.fixture(autouse=True)
def at_the_casts_moment(standing_clock: Any) -> None:
    """Every test here."""


@pytest.fixture(autouse=True)
def no_tries_yet() -> None:
    """What the tests before tried at the door of the farm phone isn't held against this one."""
    from django.core.cache import cache

    cache.clear()


@pytest.fixture
def program(northfield: Any, anna: Any) -> Any:
    """A program that may read Northfield and write to it."""
    from tests.server.api.senders import token_of

    return token_of(northfield, anna, "write")


@pytest.fixture
def reader(northfield: Any, anna: Any) -> Any:
    """A program that may only read Northfield."""
    from tests.server.api.senders import token_of

    return token_of(northfield, anna, "read")


@pytest.fixture
def phone(northfield: Any, anna: Any) -> Any:
    """Northfield's farm phone."""
    from tests.server.api.senders import phone_of

    return phone_of(northfield, anna)
