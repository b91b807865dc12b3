"""One call of the text message service that whoever runs this has set: number and text as JSON, signed.

The address is the operator's own and not a stranger's, as a webhook's is: it may lie within their network.
"""

import json
from datetime import datetime

import httpx
from django.conf import settings

from alerts.delivery.hook_signature import key_of, signed_headers
from alerts.set_address import why_not_called
from farms.credentials import HOOK_SECRET_PREFIX

PATIENCE = 10.0  # seconds
LEAST_KEY = 24  # bytes, as Standard Webhooks asks for
NO_MORE, NOT_THIS = 410, 422


class TextNotTakenError(Exception):
    """The service didn't take a message. `stops`: its number takes none; `for_good`: it needs no second try."""

    def __init__(self, told: str, status: int | None = None) -> None:
        super().__init__(told)
        self.stops = status == NO_MORE
        self.for_good = status in (NO_MORE, NOT_THIS)


def post(message_id: str, now: datetime, *, number: str, text: str) -> None:
    """Hand a message over. Raises TextNotTakenError for anything but 2xx; a redirect is not followed."""
    body = json.dumps({"to": number, "text": text}, separators=(",", ":"), ensure_ascii=False).encode()
    headers = signed_headers(key_of(settings.TEXT_MESSAGE_KEY), message_id, now, body)
    headers |= {"Content-Type": "application/json", "User-Agent": f"Flyround/{settings.CODE_VERSION}"}
    try:
        answer = httpx.post(
            settings.TEXT_MESSAGE_URL, content=body, headers=headers, timeout=PATIENCE, follow_redirects=False
        )
    except httpx.HTTPError as error:
        # Not what it says: that may hold the address.
        raise TextNotTakenError(type(error).__name__) from error
    if not answer.is_success:
        raise TextNotTakenError(f"status {answer.status_code}", answer.status_code)


def why_not() -> str | None:
    """Why text messages can't be sent as the settings are, or None; the same where they are switched off."""
    if not settings.TEXT_MESSAGE_URL:
        return None
    if (why := why_not_called("TEXT_MESSAGE")) is not None or _is_key(settings.TEXT_MESSAGE_KEY):
        return why
    return f"TEXT_MESSAGE_KEY is not {HOOK_SECRET_PREFIX} and base64 of {LEAST_KEY} bytes or more"


def _is_key(secret: str) -> bool:
    try:
        return secret.startswith(HOOK_SECRET_PREFIX) and len(key_of(secret)) >= LEAST_KEY
    except ValueError:
        return False
