"""How often somebody may try a code. Counted in the cache; while that is gone, no code can be tried at all (503)."""

from allauth.account.adapter import get_adapter
from django.core.cache import cache
from django.http import HttpRequest

WINDOW = 15 * 60


def tried_too_often(request: HttpRequest, action: str, *, limit: int) -> bool:
    """Count one try from this address; True from the try after `limit` on, until a quarter of an hour has passed."""
    key = f"tries:{action}:{get_adapter().get_client_ip(request)}"
    cache.add(key, 0, timeout=WINDOW)
    try:
        return int(cache.incr(key)) > limit
    except ValueError:  # the window ended between the two calls
        return False
