"""What will be taken away from the API is said long before, in every answer: RFC 9745 and RFC 8594.

Within /api/v1 things are only added. Where one has to go, its view names when that was decided and when it ends; the
document marks it as deprecated (server/api/schema.py), and the programs that still use it are told by these headers.
"""

from dataclasses import dataclass
from datetime import datetime

from django.utils.http import http_date


@dataclass(frozen=True)
class Leaving:
    """When something was deprecated, when it ends, and the address that says what to use instead."""

    since: datetime
    ends: datetime
    instead: str

    def headers(self) -> dict[str, str]:
        """Deprecation as a structured date (RFC 9745), Sunset as an HTTP date (RFC 8594), and the link of both."""
        return {
            "Deprecation": f"@{int(self.since.timestamp())}",
            "Sunset": http_date(self.ends.timestamp()),
            "Link": f'<{self.instead}>; rel="deprecation sunset"',
        }
