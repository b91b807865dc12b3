"""Who sends a request: a token as `Authorization: Bearer fly_...`, or else the session of somebody signed in.

A token, where one is sent, decides alone: row security sees its farm, and no other farm of its maker.
"""

from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from rest_framework import authentication, exceptions
from rest_framework.request import Request

from farms.models import ApiToken
from farms.selectors import token_by_key
from farms.tenancy.acting import act_for_nobody

BAD_TOKEN = _("This token isn't known, was switched off or has expired. Ask the farm's owner to make a new one.")


def bearer_key(request: HttpRequest | Request) -> str | None:
    """The key of `Authorization: Bearer ...`; None where a request comes without one."""
    scheme, _space, key = request.headers.get("Authorization", "").partition(" ")
    return key.strip() if scheme.lower() == "bearer" else None


class TokenAuthentication(authentication.BaseAuthentication):
    """request.user and request.auth become the farms.models.ApiToken."""

    def authenticate(self, request: Request) -> tuple[ApiToken, ApiToken] | None:
        key = bearer_key(request)
        if key is None:
            return None
        # Not farms.clock: the demo's clock stands in the season, a token's life doesn't.
        token = token_by_key(key, timezone.now())
        if token is None:
            act_for_nobody()
            raise exceptions.AuthenticationFailed(BAD_TOKEN, code="bad_token")
        return token, token

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="flyround"'
