"""One-time links that sign one user in."""

from datetime import datetime, timedelta

from django.utils.translation import gettext_lazy as _

from farms.credentials import key_hash, new_key
from farms.errors import Invalid
from farms.models import SignInLink, User


class SignInLinkSpent(Invalid):
    code = "sign_in_link_spent"
    message = _("This link was used already or is too old. Ask for a code by mail on the sign-in page instead.")


def make_sign_in_link(*, user: User, now: datetime, valid_for: timedelta) -> str:
    """The key of a new link, 43 URL-safe characters, told here and never again."""
    key = new_key()
    SignInLink.objects.create(user=user, key_hash=key_hash(key), expires_at=now + valid_for)
    return key


def use_sign_in_link(*, key: str, now: datetime) -> User:
    """The user whom a link signs in; it works once. Raises SignInLinkSpent."""
    links = SignInLink.objects.filter(key_hash=key_hash(key), used_at__isnull=True, expires_at__gt=now)
    # Claimed by the update itself, so that two clicks at once sign in once.
    if links.filter(user__is_active=True).update(used_at=now) != 1:
        raise SignInLinkSpent()
    return User.objects.get(id__in=SignInLink.objects.filter(key_hash=key_hash(key)).values("user_id"))
