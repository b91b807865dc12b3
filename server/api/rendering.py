"""How an answer is written, and the tag by which the same answer is known again."""

import base64
import hashlib
from typing import Any

from rest_framework.renderers import JSONRenderer

DIGEST_BYTES = 18


class OneJson(JSONRenderer):
    """JSON in one form only: DRF's own indents it where the Accept header says so, and the tag would change with it."""

    def get_indent(self, accepted_media_type: str, renderer_context: Any) -> None:
        return None


def tag_of(content: bytes) -> str:
    """A strong entity tag (RFC 9110, section 8.8.3): 144 bits of the SHA-256 of the bytes that are answered."""
    digest = hashlib.sha256(content).digest()[:DIGEST_BYTES]
    return f'"{base64.urlsafe_b64encode(digest).decode()}"'
