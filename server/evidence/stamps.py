"""Time stamps (RFC 3161): an authority outside says that it saw a head, and when.

Whoever runs the service sets its address, so it is no address that strangers choose; still nothing is followed
elsewhere, no proxy is asked, and an answer of more than 64 kB is none (compare alerts/outbound.py).
"""

import hashlib
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import httpx
from cryptography.x509 import Certificate, load_pem_x509_certificates
from django.conf import settings
from rfc3161_client import (
    HashAlgorithm,
    TimestampRequestBuilder,
    TimeStampResponse,
    VerificationError,
    VerifierBuilder,
    decode_timestamp_response,
)

from alerts.set_address import why_not_called

PATIENCE = 20.0  # seconds
MOST = 64 * 1024
ASKS, ANSWERS = "application/timestamp-query", "application/timestamp-reply"  # RFC 3161, 3.4


class NotStamped(Exception):
    """No time stamp was had this time; the message says why, without a word of the other machine's."""


def authority_pem() -> str:
    """The certificates by which answers are checked, as set. Raises NotStamped."""
    try:
        pem = Path(settings.TIME_STAMP_CA).read_text()
        certificates_in(pem)
    except (OSError, ValueError) as error:
        raise NotStamped(f"TIME_STAMP_CA names no file with certificates in PEM: {settings.TIME_STAMP_CA}") from error
    return pem


def certificates_in(pem: str) -> Sequence[Certificate]:
    """The certificates of a PEM text. Raises ValueError where there is none."""
    return load_pem_x509_certificates(pem.encode())


def ask_for_stamp(document: str, authority: str) -> tuple[bytes, datetime]:
    """Have a document's SHA-256 stamped, and check the answer: the answer as it came, and the moment that it says.

    Raises NotStamped.
    """
    if (why := why_not_called("TIME_STAMP")) is not None:
        raise NotStamped(why)
    request = TimestampRequestBuilder().data(document.encode()).hash_algorithm(HashAlgorithm.SHA256).build()
    answer = _posted(request.as_bytes())
    try:
        decoded = decode_timestamp_response(answer)
        builder = VerifierBuilder.from_request(request)
        return answer, checked(decoded, document, authority, builder)
    except (ValueError, VerificationError) as error:
        raise NotStamped(f"the authority's answer is no time stamp of this head ({type(error).__name__})") from error


def checked(
    answer: TimeStampResponse, document: str, authority: str, builder: VerifierBuilder | None = None
) -> datetime:  # fmt: skip
    """The moment that a time stamp says, if it is one of this document by this authority.

    Raises VerificationError or ValueError.
    """
    roots = list(certificates_in(authority))
    verifier = builder or VerifierBuilder()
    for root in roots:
        verifier = verifier.add_root_certificate(root)
    verifier.build().verify(answer, hashlib.sha256(document.encode()).digest())
    return answer.tst_info.gen_time


def _posted(asked: bytes) -> bytes:
    try:
        with (
            httpx.Client(timeout=PATIENCE, follow_redirects=False, trust_env=False) as client,
            client.stream("POST", settings.TIME_STAMP_URL, content=asked, headers={"Content-Type": ASKS}) as answer,
        ):
            if answer.status_code != 200 or answer.headers.get("Content-Type", "").partition(";")[0].strip() != ANSWERS:
                raise NotStamped(f"the authority answered {answer.status_code}, and not with a time stamp")
            content = b""
            for piece in answer.iter_bytes():
                content += piece
                if len(content) > MOST:
                    raise NotStamped("the authority's answer is too long for a time stamp")
    except httpx.HTTPError as error:
        raise NotStamped(f"the authority could not be reached ({type(error).__name__})") from error
    return content
