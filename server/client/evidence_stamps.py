"""The time stamps of a file's signed days (RFC 3161), checked without a network."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.x509 import load_pem_x509_certificates
from rfc3161_client import VerificationError, VerifierBuilder, decode_timestamp_response

from server.client.evidence import MISSHAPEN, Checked, Head, canonical, heads_of, stamp_of


@dataclass(frozen=True)
class Stamped:
    """A day's time stamp that holds: the moment, the authority's name and its root's fingerprint (SHA-256)."""

    day: str
    moment: str
    authority: str
    fingerprint: str


def check_stamps(
    evidence: Mapping[str, Any], authorities: Sequence[str], found: Checked, *, named: bool
) -> list[Stamped]:  # fmt: skip
    """The stamps that hold; the others are noted in `found`. `named`: the authorities were given, not the file's."""
    stamped = []
    for head in heads_of(evidence):
        try:
            stamp = stamp_of(head)
            if stamp is not None:
                pem = authorities[0] if named else authorities[head.told["authority"]]
                stamped.append(_checked(head, stamp, pem))
        except (VerificationError, *MISSHAPEN):
            found.no("stamp", day=head.day)
    return stamped


def _checked(head: Head, stamp: bytes, pem: str) -> Stamped:
    """Raises VerificationError or ValueError where it is no stamp of this head by that authority."""
    answer = decode_timestamp_response(stamp)
    roots = load_pem_x509_certificates(pem.encode())
    builder = VerifierBuilder()
    for root in roots:
        builder = builder.add_root_certificate(root)
    builder.build().verify(answer, hashlib.sha256(canonical(head.said)).digest())
    moment = answer.tst_info.gen_time.isoformat(timespec="seconds")
    return Stamped(head.day, moment, roots[0].subject.rfc4514_string(), roots[0].fingerprint(SHA256()).hex())
