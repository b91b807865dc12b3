"""How an answer is written, and the tag by which the same answer is known again."""

import hashlib
from typing import Any

from django.utils.http import quote_etag
from rest_framework.renderers import JSONRenderer


class OneJson(JSONRenderer):
    """JSON in one form only: DRF's own indents it where the Accept header says so, and the tag would change with it."""

    def get_indent(self, accepted_media_type: str, renderer_context: Any) -> None:
        return None


def tag_of(content: bytes) -> str:
    """A strong entity tag (RFC 9110, section 8.8.3): the SHA-256 of the bytes that are answered."""
    return quote_etag(hashlib.sha256(content).hexdigest())
