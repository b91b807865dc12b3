"""Conditional requests (RFC 9110, section 13): nothing is sent that is known, nothing changed that nobody has seen."""

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils.cache import get_conditional_response
from django.utils.http import parse_etags
from django.utils.translation import gettext_lazy as _

from farms.errors import FlyroundError
from server.api.rendering import tag_of

# Known again by its tag. Kept by nobody on the way, and by whoever asked only to be asked about again.
PRIVATE = "private, no-cache"


class MatchMissing(FlyroundError):
    """The request would change a record and doesn't say which state of it was seen (RFC 6585, section 3)."""

    code = "match_missing"
    message = _(
        "Say which state of this you have seen: load it, and send its ETag as If-Match together with your change."
    )


class Stale(FlyroundError):
    """The record is no longer as it was when it was seen."""

    code = "stale"
    message = _("This was changed since you loaded it. Load it again, look at what is new, and repeat your change.")


def tagged(request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
    """The answer with its strong tag; 304 without a body where whoever reads has it already."""
    content: bytes = getattr(response, "content", b"")
    response.headers["ETag"] = tag_of(content)
    if request.method not in ("GET", "HEAD"):
        # What was seen before a change was looked at before it was made.
        return response
    response.headers["Cache-Control"] = PRIVATE
    conditional = get_conditional_response(request, etag=response.headers["ETag"], response=response)
    return response if conditional is None else conditional


def require_match(request: HttpRequest, tag: str) -> None:
    """Raise MatchMissing without an If-Match header, Stale where it names another state than `tag`."""
    given = request.headers.get("If-Match")
    if given is None:
        raise MatchMissing()
    tags = parse_etags(given)
    if tags != ["*"] and tag not in tags:
        raise Stale()
