"""Identifiers: UUID version 7 (RFC 9562), so that rows lie in the order in which they were made."""

from uuid import UUID

from uuid_utils.compat import uuid7 as _uuid7


def uuid7() -> UUID:
    """A new UUIDv7 as a plain uuid.UUID; wrapped so that migrations name a path of ours."""
    return _uuid7()
