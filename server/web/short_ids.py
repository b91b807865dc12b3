"""Ids in addresses that are printed: a UUID in 22 letters instead of 36, so that a QR code has larger modules.

Base64 for addresses (RFC 4648, section 5) of the 16 bytes, without the filling; the usual form is understood, too.
"""

from base64 import urlsafe_b64decode, urlsafe_b64encode
from uuid import UUID


def short(full: UUID) -> str:
    """The 22 letters of an id.

    >>> short(UUID("0197d0c2-5c00-7000-8000-0000000000ff"))
    'AZfQwlwAcACAAAAAAAAA_w'
    """
    return urlsafe_b64encode(full.bytes).decode().rstrip("=")


class ShortId:
    """`<short_id:farm_id>` in an address."""

    regex = "[0-9A-Za-z_-]{22}|[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}"

    def to_python(self, value: str) -> UUID:
        if len(value) > 22:
            return UUID(value)
        found = UUID(bytes=urlsafe_b64decode(value + "=="))
        # Four bits of the last letter say nothing: one id has one address.
        if short(found) != value:
            raise ValueError(value)
        return found

    def to_url(self, value: UUID | str) -> str:
        return short(value if isinstance(value, UUID) else UUID(value))
