"""Keys that are told once and stored as a hash: API tokens, farm phones, sign-in links, phone codes."""

import base64
import hashlib
import secrets

from django.utils.crypto import salted_hmac

PREFIX = "fly_"
HOOK_SECRET_PREFIX = "whsec_"  # noqa: S105 - how the specification Standard Webhooks begins every secret


def new_key() -> str:
    """256 random bits as 43 URL-safe characters."""
    return secrets.token_urlsafe(32)


def new_token_key() -> str:
    """A token's key: "fly_" and 43 URL-safe characters, so that it is known for what it is where it lies about."""
    return PREFIX + new_key()


def key_hash(key: str) -> bytes:
    """SHA-256 of a key. It is random and long: a salt or a slow hash would add nothing."""
    return hashlib.sha256(key.encode()).digest()


def code_hash(digits: str) -> bytes:
    """HMAC-SHA-256 under SECRET_KEY: eight digits alone could be tried out by whoever reads the table."""
    return salted_hmac("farms.phone_code", digits, algorithm="sha256").digest()


def new_hook_secret() -> tuple[str, bytes]:
    """A webhook's secret as it is shown once, and the 256 random bits that messages are signed with."""
    key = secrets.token_bytes(32)
    return HOOK_SECRET_PREFIX + base64.b64encode(key).decode(), key
