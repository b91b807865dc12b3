"""What `verify` is given: an evidence file, a report that carries one (PDF), an export's folder; keys and heads."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import load_pem_public_key

from server.client.sign_in import Unusable
from server.client.verify_words import say

KIND, HEAD_KIND = "flyround evidence 1", "flyround daily head 1"
FILE, ATTACHED = "evidence.json", "flyround-evidence.json"
MOST = 1024 * 1024 * 1024


def evidence_in(path: Path) -> dict[str, Any]:
    """The evidence of a file or an export's folder. Raises Unusable where there is none."""
    path = path / FILE if path.is_dir() else path
    content = _read(path)
    if content.startswith(b"%PDF-"):
        content = _attached(path)
    found = _json(content, path)
    if found.get("kind") != KIND or not _has_shape(found):
        raise Unusable(say("{file} is no evidence file of Flyround's. Take the file as it came.", file=path))
    return found


def public_keys_in(path: Path) -> list[bytes]:
    """The public keys of a file, 32 bytes each: one in PEM, or the service's list of them. Raises Unusable."""
    content = _read(path)
    try:
        listed = json.loads(content)["results"] if content.lstrip().startswith(b"{") else [{"pem": content.decode()}]
        return [_public(each["pem"].encode()) for each in listed]
    except (ValueError, KeyError, TypeError, AttributeError, UnsupportedAlgorithm) as error:
        wrong = say("{file} holds no public key as Flyround's are (Ed25519, PEM).", file=path)
        raise Unusable(wrong) from error


def _public(pem: bytes) -> bytes:
    key = load_pem_public_key(pem)
    if not isinstance(key, Ed25519PublicKey):
        raise TypeError("another kind of key")
    return key.public_bytes_raw()


def head_in(path: Path) -> dict[str, Any]:
    """A daily head from its file, or from a mail's text that was saved. Raises Unusable."""
    text = _read(path).decode(errors="replace")
    lines = [line for line in text.splitlines() if HEAD_KIND in line]
    found = _json(lines[0].encode() if lines else b"", path)
    if found.get("kind") != HEAD_KIND:
        raise Unusable(say("{file} holds no daily head of Flyround's.", file=path))
    return found


def authorities_in(path: Path | None, evidence: dict[str, Any]) -> Sequence[str]:
    """The certificates to check time stamps by: those of a file that was named, else those of the evidence itself."""
    return [_read(path).decode(errors="replace")] if path else list(evidence["authorities"])


def _read(path: Path) -> bytes:
    try:
        if path.stat().st_size > MOST:
            raise Unusable(say("{file} is larger than 1 GB: no such file of Flyround's is.", file=path))
        return path.read_bytes()
    except OSError as error:
        raise Unusable(say("{file} can't be read: {why}.", file=path, why=error.strerror or "")) from error


def _attached(path: Path) -> bytes:
    """The evidence that a PDF carries with it."""
    import pypdfium2  # here alone: who checks a JSON file needs no PDF program

    try:
        document = pypdfium2.PdfDocument(path)
        for place in range(document.count_attachments()):
            attachment = document.get_attachment(place)
            if attachment.get_name() == ATTACHED:
                return bytes(attachment.get_data())
    except pypdfium2.PdfiumError as error:
        raise Unusable(say("{file} can't be read: {why}.", file=path, why="PDF")) from error
    raise Unusable(say("This PDF carries no evidence with it: {file}. Take the report as it came.", file=path))


def _json(content: bytes, path: Path) -> dict[str, Any]:
    try:
        found = json.loads(content)
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict):
        raise Unusable(say("{file} is no evidence file of Flyround's. Take the file as it came.", file=path))
    return found


def _has_shape(found: dict[str, Any]) -> bool:
    lists = ("authorities", "heads", "keys", "links", "rows")
    return isinstance(found.get("farm"), str) and all(isinstance(found.get(name), list) for name in lists)
