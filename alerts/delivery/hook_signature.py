"""A webhook's signature, as the open specification "Standard Webhooks" 1.0.0 says (symmetric signatures, v1).

https://github.com/standard-webhooks/standard-webhooks/blob/main/spec/standard-webhooks.md
"""

import base64
import hashlib
import hmac
from datetime import datetime

from farms.credentials import HOOK_SECRET_PREFIX


def signed_headers(key: bytes, message_id: str, now: datetime, body: bytes) -> dict[str, str]:
    """The three headers of a message that is sent at a moment."""
    seconds = int(now.timestamp())
    return {
        "webhook-id": message_id,
        "webhook-timestamp": str(seconds),
        "webhook-signature": signature(key, message_id, seconds, body),
    }


def signature(key: bytes, message_id: str, seconds: int, body: bytes) -> str:
    """v1, and base64 of HMAC-SHA256 over id, timestamp and body, joined by full stops."""
    signed = f"{message_id}.{seconds}.".encode() + body
    return "v1," + base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()


def key_of(secret: str) -> bytes:
    """The bytes that a secret as it is shown stands for."""
    return base64.b64decode(secret.removeprefix(HOOK_SECRET_PREFIX), validate=True)
