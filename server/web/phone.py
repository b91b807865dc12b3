"""The farm phone: a token in a signed cookie. It may count on its one farm, and see nothing else.

An owner of two farms may give one phone the codes of both: the cookie then holds a key of each, and the first one that
is live says for which farm the phone counts. Each key opens its own farm alone.
"""

from typing import TYPE_CHECKING
from uuid import UUID

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
MOST_FARMS = 8


def phone_of(request: HttpRequest) -> "ApiToken | None":
    """The live token of the phone that asks, acting from here on; None for any other browser."""
    return next(filter(None, map(_token, _keys(request))), None)


def kept_phone(request: HttpRequest, farm_id: UUID) -> "ApiToken | None":
    """The live token of another farm whose code this phone was given, acting from here on; None where it has none."""
    for key in _keys(request):
        token = _token(key)
        if token is not None and token.farm_id == farm_id:
            return token
    return None


def _keys(request: HttpRequest) -> list[str]:
    """What the cookie holds, the farm for which it counts now first."""
    signed = request.COOKIES.get(COOKIE)
    if not signed:
        return []
    try:
        held = signing.loads(signed, salt=SALT, max_age=LASTS)
    except signing.BadSignature:
        return []
    return [str(key) for key in held] if isinstance(held, list) else [str(held)]


def _token(key: str) -> "ApiToken | None":
    token = token_by_key(key, timezone.now())
    return token if token is not None and role_on(token, token.farm_id) is PHONE else None


def remember(request: HttpRequest, response: HttpResponse, key: str) -> None:
    """Make this browser the farm's phone; the other farms' keys that it has stay, behind this one."""
    _keep(response, [key, *_keys(request)])


def prefer(request: HttpRequest, response: HttpResponse, farm_id: UUID) -> None:
    """From now on the phone counts for this one of its farms."""
    keys = _keys(request)
    first = [key for key in keys if (token := _token(key)) is not None and token.farm_id == farm_id]
    _keep(response, [*first, *(key for key in keys if key not in first)])


def _keep(response: HttpResponse, keys: list[str]) -> None:
    response.set_cookie(
        COOKIE,
        signing.dumps(keys[:MOST_FARMS], salt=SALT),
        max_age=LASTS,
        secure=settings.SECURE,
        httponly=True,
        samesite="Lax",
    )


def forget(response: HttpResponse) -> None:
    response.delete_cookie(COOKIE, samesite="Lax")
