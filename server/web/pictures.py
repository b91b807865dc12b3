"""A picture that somebody took, as a browser gets it."""

from datetime import datetime
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.utils.cache import get_conditional_response

from farms.errors import Missing

# Asked again each time, by its tag: what was erased is gone at once, and what was seen isn't sent twice.
CACHED = "private, no-cache"


def shown_picture(
    request: HttpRequest, picture: bytes | None, photo_id: UUID, taken_at: datetime, *, small: bool
) -> HttpResponse:
    """The bytes of a photo, or of its small copy. Raises Missing where they were erased."""
    if picture is None:
        raise Missing()
    tag = f'"{photo_id}{"-small" if small else ""}"'
    headers = {
        "Content-Disposition": f'inline; filename="photo-{taken_at:%Y-%m-%d}.jpg"',
        "X-Content-Type-Options": "nosniff",
        "Cache-Control": CACHED,
        "ETag": tag,
    }
    full = HttpResponse(picture, content_type="image/jpeg", headers=headers)
    return get_conditional_response(request, etag=tag, response=full) or full
