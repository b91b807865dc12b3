"""How often somebody may try a code. Counted in Valkey; while that is gone, no code can be tried at all (503)."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from server.limits import Tries, address_of, take_back, try_once

WINDOW = 15 * 60
# Eight digits are few, and a thousand addresses easily had: wrong codes of farm phones over the whole service.
PHONE_CODES = Tries("phone-codes", most=300, within=WINDOW, rests=WINDOW)
ALL = "all"


def tried_too_often(request: HttpRequest, action: str, *, limit: int) -> bool:
    """Count one try from this address; True from the try after `limit` on, until a quarter of an hour has passed."""
    return try_once(Tries(action, limit, WINDOW, WINDOW), address_of(request)) == 0


def phone_code_tried_too_often(request: HttpRequest) -> bool:
    """Count one try of a farm phone's code, by its address and for the whole service; True where none is left."""
    return tried_too_often(request, "phone-code", limit=30) or try_once(PHONE_CODES, ALL) == 0


def phone_code_was_right() -> None:
    """Phones that join don't use up what is left for wrong codes."""
    take_back(PHONE_CODES, ALL)


def too_often(request: HttpRequest) -> HttpResponse:
    """The page that says so, with Retry-After."""
    response = render(request, "429.html", status=429)
    response["Retry-After"] = str(WINDOW)
    return response
