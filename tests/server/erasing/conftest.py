"""Farms with every kind of record, signed, and a wish that one of them be erased; done as the eraser."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import Any

import pytest

from farms.models import ErasureRequest, Farm, User
from farms.services import ask_farm_erasure
from server.erasing.due import Told, erase_due
from tests.cast import acting, as_role
from tests.server.evidence.conftest import Signed, records, signed
from tests.server.evidence.scene import LAST, noon
from tests.server.web.conftest import browser

__all__ = ["Signed", "browser", "records", "signed"]
ASKED = noon(LAST)
DUE = ASKED + timedelta(days=14)


def ask(farm: Farm, owner: User, *, at: datetime = ASKED) -> ErasureRequest:
    with acting(owner):
        return ask_farm_erasure(farm=farm, typed_name=farm.name, by=owner, now=at)


def erase(at: datetime = DUE) -> list[Told]:
    """What the command does, on the tests' own connection in the eraser's role."""
    with as_role("eraser"):
        return list(erase_due(now=at, using="default"))


@contextmanager
def as_eraser() -> Iterator[None]:
    with as_role("eraser"):
        yield


@pytest.fixture
def asked(signed: Signed, anna: User) -> Any:
    return ask(signed.farm, anna)
