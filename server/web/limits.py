"""How often somebody may try a code. Counted in Valkey; while that is gone, no code can be tried at all (503)."""

from django.http import HttpRequest

from server.limits import Tries, address_of, try_once

WINDOW = 15 * 60


def tried_too_often(request: HttpRequest, action: str, *, limit: int) -> bool:
    """Count one try from this address; True from the try after `limit` on, until a quarter of an hour has passed."""
    return try_once(Tries(action, limit, WINDOW, WINDOW), address_of(request)) == 0
