"""Time stamps by RFC 3161: asked for, checked, refused where they are none; and read by another program."""

import shutil
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from rfc3161_client import VerificationError, decode_timestamp_response

from server.evidence.stamps import NotStamped, ask_for_stamp, checked
from tests.server.evidence.authority import Authority, serving

MOMENT = datetime(2026, 5, 30, 12, 0, 5, tzinfo=UTC)
DOCUMENT = '{"kind":"invented"}'
PLAIN = ("text/plain", b"hello", {})


@pytest.fixture
def authority(settings):
    made = Authority(MOMENT)
    with serving(made) as address:
        settings.TIME_STAMP_URL, settings.TIME_STAMP_MAY_BE_PLAIN = address, True
        yield made


def test_a_stamp_is_had_and_says_when(authority: Authority):
    answer, moment = ask_for_stamp(DOCUMENT, authority.root_pem)
    assert moment == MOMENT
    assert checked(decode_timestamp_response(answer), DOCUMENT, authority.root_pem) == MOMENT


def test_a_stamp_of_another_document_or_authority_is_none(authority: Authority):
    answer, _moment = ask_for_stamp(DOCUMENT, authority.root_pem)
    read = decode_timestamp_response(answer)
    with pytest.raises(VerificationError):
        checked(read, DOCUMENT + " ", authority.root_pem)
    with pytest.raises(VerificationError):
        checked(read, DOCUMENT, Authority(MOMENT).root_pem)
    with pytest.raises(NotStamped, match="no time stamp of this head"):
        ask_for_stamp(DOCUMENT, Authority(MOMENT).root_pem)


@pytest.mark.parametrize(("answer", "why"), [
    ((500, *PLAIN), "answered 500"),
    ((200, *PLAIN), "answered 200"),
    ((302, "text/plain", b"", {"Location": "http://127.0.0.1:1/"}), "answered 302"),
    ((200, "application/timestamp-reply", b"\x30\x00", {}), "no time stamp"),
    ((200, "application/timestamp-reply", b"x" * 70_000, {}), "too long"),
])  # fmt: skip
def test_anything_else_is_no_stamp_and_nothing_is_followed(authority: Authority, answer, why):
    authority.answers_with = answer
    with pytest.raises(NotStamped, match=why):
        ask_for_stamp(DOCUMENT, authority.root_pem)
    assert authority.asked == 1


def test_nobody_there_is_said_without_the_address(settings, authority: Authority):
    settings.TIME_STAMP_URL = "http://127.0.0.1:1/secret"
    with pytest.raises(NotStamped) as caught:
        ask_for_stamp(DOCUMENT, authority.root_pem)
    assert "secret" not in str(caught.value)


def test_an_address_without_encryption_is_asked_only_where_that_is_said(settings, authority: Authority):
    settings.TIME_STAMP_MAY_BE_PLAIN = False
    with pytest.raises(NotStamped, match="TIME_STAMP_MAY_BE_PLAIN"):
        ask_for_stamp(DOCUMENT, authority.root_pem)
    assert authority.asked == 0


@pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl isn't installed: its own check is left out")
def test_openssl_reads_the_stamp_as_one_too(authority: Authority, tmp_path: Path):
    """OpenSSL's `ts -verify`, an implementation of RFC 3161 of its own."""
    answer, _moment = ask_for_stamp(DOCUMENT, authority.root_pem)
    for name, content in (
        ("stamp.tsr", answer),
        ("head.json", DOCUMENT.encode()),
        ("ca.pem", authority.root_pem.encode()),
    ):
        (tmp_path / name).write_bytes(content)
    command = ["openssl", "ts", "-verify", "-data", "head.json", "-in", "stamp.tsr", "-CAfile", "ca.pem"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert "Verification: OK" in done.stdout + done.stderr, done.stderr
    (tmp_path / "head.json").write_text(DOCUMENT + " ")
    assert subprocess.run(command, cwd=tmp_path, capture_output=True, check=False).returncode != 0
    assert timedelta(0) == MOMENT - _moment
