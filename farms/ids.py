"""Identifiers: UUID version 7 (RFC 9562), so that rows lie in the order in which they were made."""

from datetime import UTC, datetime, timedelta
from uuid import UUID

from uuid_utils.compat import uuid7 as _uuid7


def uuid7() -> UUID:
    """A new UUIDv7 as a plain uuid.UUID; wrapped so that migrations name a path of ours."""
    return _uuid7()


def moment_of(made: UUID) -> datetime:
    """When a UUIDv7 was made: its first 48 bits are milliseconds since 1970 (RFC 9562, section 5.7).

    >>> moment_of(UUID("017f22e2-79b0-7cc3-98c4-dc0c0c07398f")).isoformat()
    '2022-02-22T19:22:22+00:00'
    """
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=made.int >> 80)
