"""Half of a request is refused: a file that was cut off looks like a shorter file with a smaller number at its end."""

import socket
from io import BytesIO
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st

from farms.models import Farm
from monitoring.models import Reading
from server.cut_off import WholeStream
from tests.cast import NOW, as_factory
from tests.server.api.senders import Sender, token_of

COMMITS = pytest.mark.django_db(transaction=True, databases="__all__")
CSV = b"station,hung on,taken on,count\nCard 1,2026-05-18,2026-05-25,311"
FORM = (
    b'--edge\r\nContent-Disposition: form-data; name="file"; filename="a.csv"\r\nContent-Type: text/csv\r\n\r\n'
    + CSV
    + b"\r\n--edge--\r\n"
)


@pytest.fixture
def sender(settings: Any, tmp_path: Path, northfield: Farm, anna: Any) -> Sender:
    (tmp_path / "clock").write_text(NOW.isoformat())
    settings.CLOCK_FILE = str(tmp_path / "clock")
    return token_of(northfield, anna, "write")


def answer_to(url: str, farm: Farm, sender: Sender, kind: str, body: bytes, sent: int) -> bytes:
    """What the service says to the first bytes of a body whose sender then fell silent."""
    place = urlsplit(url)
    head = (
        f"POST /api/v1/farms/{farm.id}/imports HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n"
        f"Authorization: Bearer {sender.key}\r\n"
        f"Content-Type: {kind}\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    with socket.create_connection((place.hostname, place.port)) as line:
        line.sendall(head.encode() + body[:sent])
        line.shutdown(socket.SHUT_WR)
        return b"".join(iter(lambda: line.recv(65536), b""))


@COMMITS
@pytest.mark.parametrize(
    ("kind", "body", "cut"),
    [("text/csv", CSV, len(CSV) - 1), ("multipart/form-data; boundary=edge", FORM, FORM.index(b"311") + 2)],
)
def test_half_a_file_is_no_file(live_server: Any, northfield: Farm, sender: Sender, kind: str, body: bytes, cut: int):
    half = answer_to(live_server.url, northfield, sender, kind, body, cut)
    assert half.startswith(b"HTTP/1.1 400") and b"application/problem+json" in half and b"unreadable" in half
    with as_factory():
        assert not Reading.objects.filter(farm=northfield).exists()
    whole = answer_to(live_server.url, northfield, sender, kind, body, len(body))
    assert whole.startswith(b"HTTP/1.1 200"), whole
    with as_factory():
        assert [each.count for each in Reading.objects.filter(farm=northfield)] == [311]


@given(st.binary(max_size=200), st.integers(0, 50), st.lists(st.integers(-1, 60), max_size=10))
def test_a_body_comes_whole_or_not_at_all(content: bytes, missing: int, sizes: list[int]):
    stream = WholeStream(BytesIO(content), len(content) + missing)
    try:
        found = b"".join([*map(stream.read, sizes), stream.read()])
    except OSError:
        assert missing
    else:
        assert (found, missing) == (content, 0)


@given(st.binary(max_size=200), st.integers(0, 50))
def test_so_it_does_line_by_line(content: bytes, missing: int):
    stream = WholeStream(BytesIO(content), len(content) + missing)
    try:
        found = b"".join(iter(stream.readline, b""))
    except OSError:
        assert missing
    else:
        assert (found, missing) == (content, 0)
