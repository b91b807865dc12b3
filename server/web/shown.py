"""How the reader of a page is shown temperatures and days: a person's own choice, a farm phone's in a cookie."""

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from farms.services import ShownUnknown, check_shown
from farms.showing import Shown, chosen, shown_to

COOKIE = "shown"
LASTS = 300 * 24 * 3600


def choice_of(request: HttpRequest) -> tuple[str, str]:
    """Degrees and form of days as they were chosen, each empty for as usual."""
    if request.user.is_authenticated:
        return request.user.degrees, request.user.days
    degrees, _between, days = request.COOKIES.get(COOKIE, "").partition(".")
    try:
        check_shown(degrees, days)
    except ShownUnknown:
        return "", ""
    return degrees, days


def shown_here(request: HttpRequest, zone: str = "") -> Shown:
    """What holds for this reader, on the page of a place in this time zone."""
    if request.user.is_authenticated:
        return shown_to(request.user, zone)  # type: ignore[arg-type]
    return chosen(*choice_of(request), zone)


def keep_choice(response: HttpResponse, degrees: str, days: str) -> None:
    """Keep what was chosen on a farm phone, which belongs to nobody."""
    check_shown(degrees, days)
    response.set_cookie(
        COOKIE, f"{degrees}.{days}", max_age=LASTS, secure=settings.SECURE, httponly=True, samesite="Lax"
    )
