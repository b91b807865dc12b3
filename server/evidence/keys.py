"""The key that signs the days: an Ed25519 private key (RFC 8032) in a file outside the database, in PEM (PKCS 8).

Only the process that signs has it. A new key is a new file: heads name the key that signed them, and the public keys of
all that ever did are kept.
"""

import os
from pathlib import Path

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
    load_pem_public_key,
)
from django.conf import settings

from server.evidence.files import AlreadyThere, write_once

MAKE_ONE = "Make one with `python3 manage.py make_signing_key`, as the account that runs the worker, and keep a copy."


class NoKey(Exception):
    """There is nothing to sign with; the message says what to do."""


def signing_key() -> Ed25519PrivateKey:
    """The private key that the settings name. Raises NoKey."""
    path = Path(settings.HEADS_KEY)
    try:
        content = path.read_bytes()
        others = path.stat().st_mode & 0o077
    except OSError as error:
        raise NoKey(f"The key of the daily heads can't be read ({path}: {error.strerror}). {MAKE_ONE}") from error
    if others:
        raise NoKey(f"Others may read the key of the daily heads. Run `chmod 600 {path}`, and think of a new one.")
    try:
        key = load_pem_private_key(content, None)
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise NoKey(f"{path} holds no private key that can be read. {MAKE_ONE}") from error
    if not isinstance(key, Ed25519PrivateKey):
        raise NoKey(f"{path} holds another kind of key than Ed25519. {MAKE_ONE}")
    return key


def make_key(path: Path) -> Ed25519PrivateKey:
    """Write a new private key that its owner alone can read. Raises AlreadyThere, and never overwrites."""
    key = Ed25519PrivateKey.generate()
    write_once(path, key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()), mode=0o600)
    return key


def public_pem(public: bytes) -> str:
    """A public key of 32 bytes in PEM (SubjectPublicKeyInfo, RFC 8410)."""
    key = Ed25519PublicKey.from_public_bytes(public)
    return key.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo).decode()


def public_in(pem: bytes) -> bytes:
    """The 32 bytes of a public key in PEM. Raises ValueError where there is none."""
    key = load_pem_public_key(pem)
    if not isinstance(key, Ed25519PublicKey):
        raise ValueError("another kind of key than Ed25519")  # noqa: TRY004 - what the text holds, not what was passed
    return key.public_bytes_raw()


def keep_public(folder: Path, key: str, public: bytes) -> None:
    """The public key as a file beside the heads, named by its id."""
    try:
        write_once(folder / f"key-{key[:16]}.pem", public_pem(public).encode(), mode=0o644)
    except AlreadyThere:
        return


def why_not_signed() -> str | None:
    """Why no day is signed, or None. Empty settings are no fault: then nothing is to be signed."""
    if not settings.HEADS_KEY:
        return None
    try:
        signing_key()
    except NoKey as error:
        return str(error)
    if settings.HEADS_DIR and not os.access(settings.HEADS_DIR, os.W_OK):
        return f"HEADS_DIR can't be written: {settings.HEADS_DIR}. Make the folder, writable for the worker."
    return None
