"""Fixtures of the client's tests: a folder of its own, a token of Northfield's program, the running service."""

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest


@pytest.fixture(autouse=True)
def at_the_casts_moment(standing_clock: Any) -> None:
    """Every test here."""


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The client's folder, in a house where nobody is signed in, nothing waits and nobody is patient."""
    folder = tmp_path / "home"
    monkeypatch.setenv("FLYROUND_HOME", str(folder))
    monkeypatch.setenv("FLYROUND_PACE", "0")
    for name in ("FLYROUND_TOKEN", "FLYROUND_SITE", "LANGUAGE", "LC_ALL", "LC_MESSAGES"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("LANG", "en_US.UTF-8")
    return folder


@pytest.fixture
def token(northfield: Any, anna: Any) -> str:
    """The token of a program that may write to Northfield."""
    from django.utils import timezone

    from farms.services import make_token
    from tests.cast import acting

    now = timezone.now()
    with acting(anna):
        _, key = make_token(
            farm=northfield, name="Client", scope="write", by=anna, expires_at=now + timedelta(days=1), now=now
        )
    return key


@pytest.fixture
def door(token: str, live_server: Any, monkeypatch: pytest.MonkeyPatch) -> str:
    """The environment of a program that may write to Northfield; the site's address."""
    monkeypatch.setenv("FLYROUND_TOKEN", token)
    monkeypatch.setenv("FLYROUND_SITE", live_server.url)
    return str(live_server.url)
