"""What the tests of the embedded servers share."""

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest


@pytest.fixture
def folder() -> Iterator[Path]:
    """A short folder: pytest's own are too long for sockets, and closed to root's unprivileged account."""
    path = Path(tempfile.mkdtemp(prefix="emb-", dir="/tmp"))
    path.chmod(0o755)
    yield path
    shutil.rmtree(path)
