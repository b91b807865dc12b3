"""The farm phone: a token in a signed cookie. It may count on its one farm, and see nothing else."""

from typing import TYPE_CHECKING

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from farms.access import PHONE, role_on
from farms.selectors import token_by_key

if TYPE_CHECKING:
    from farms.models import ApiToken

COOKIE = "farm_phone"
SALT = "flyround.farm_phone"
# As long as a season may last; a closed season refuses rounds by itself.
LASTS = 300 * 24 * 3600


def phone_of(request: HttpRequest) -> "ApiToken | None":
    """The live token of the phone that asks, acting from here on; None for any other browser."""
    signed = request.COOKIES.get(COOKIE)
    if not signed:
        return None
    try:
        key = signing.loads(signed, salt=SALT, max_age=LASTS)
    except signing.BadSignature:
        return None
    token = token_by_key(str(key), timezone.now())
    if token is None or role_on(token, token.farm_id) is not PHONE:
        return None
    return token


def remember(response: HttpResponse, key: str) -> None:
    """Make this browser the farm's phone."""
    response.set_cookie(
        COOKIE,
        signing.dumps(key, salt=SALT),
        max_age=LASTS,
        secure=settings.SECURE,
        httponly=True,
        samesite="Lax",
    )


def forget(response: HttpResponse) -> None:
    response.delete_cookie(COOKIE, samesite="Lax")
