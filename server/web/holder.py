"""Who holds this browser, as its scripts may know it: an id that says nothing of the person, and the initials."""

from django.core import signing
from django.http import HttpRequest
from django.utils.crypto import salted_hmac

from server.web.phone import COOKIE, LASTS, SALT

SALT_OF_HOLDERS = "flyround.holder"


def holder_of(request: HttpRequest) -> str:
    """The same for one person or farm phone each time, empty for nobody. Needs no query: every page carries it.

    What a browser keeps is filed under it, so that one person's pages and rounds are never shown to another.
    """
    user = getattr(request, "user", None)
    if user is not None and user.is_authenticated:
        return _opaque(f"person {user.pk}")
    signed = request.COOKIES.get(COOKIE)
    if not signed:
        return ""
    try:
        return _opaque(f"phone {signing.loads(signed, salt=SALT, max_age=LASTS)}")
    except signing.BadSignature:
        return ""


def _opaque(text: str) -> str:
    return salted_hmac(SALT_OF_HOLDERS, text, algorithm="sha256").hexdigest()[:24]


def initials_of(name: str) -> str:
    """The first letters of at most three words: Ana de Soto is ADS."""
    return "".join(word[0] for word in name.split()[:3] if word).upper()
