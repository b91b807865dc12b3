"""Addresses that are a secret themselves stay out of logs, referrers, caches and indexes.

A feed's, a sign-in link's, an invitation's, a hired sprayer's, and the one in a mail at which its reader chooses how
often it comes.
Whoever knows one needs nothing else, so it is told to the person it is for and written down nowhere here.
"""

import re
from collections.abc import Callable, Mapping

from django.http import HttpRequest
from django.http.response import HttpResponseBase

FEEDS = "/feeds/"
CHOICES = "/mail-choice/"
SLASH = r"(?:/|%(?:25)*2[Ff])"
# What stands where a key does: behind these words, up to the next slash, mark or blank. A slash may be written as %2F,
# as in ?next=. The API's /me/feeds/ names a row by its id, which opens nothing.
SECRET = re.compile(
    rf"((?<!/me){SLASH}feeds{SLASH}|{SLASH}sign-in{SLASH}link{SLASH}|{SLASH}(?:invitation|mail-choice|spray-record){SLASH}"
    rf"|{SLASH}phone{SLASH}?\?code=)"
    r"(?:(?!%(?:25)*2[Ff])[^/?#&\s\"'\\])+"
)
NOT_FOUND_BY_SEARCHING = {"X-Robots-Tag": "noindex"}
HEADERS: Mapping[str, Mapping[str, str]] = {
    # no-cache: kept by the reader's own program only, and asked for anew each time.
    FEEDS: NOT_FOUND_BY_SEARCHING | {"Referrer-Policy": "no-referrer", "Cache-Control": "private, no-cache"},
    CHOICES: NOT_FOUND_BY_SEARCHING | {"Referrer-Policy": "no-referrer", "Cache-Control": "no-store"},
    # Not no-referrer: browsers would send "Origin: null" with the form, which the check against forgery refuses.
    "/sign-in/link/": NOT_FOUND_BY_SEARCHING | {"Referrer-Policy": "strict-origin"},
    "/spray-record/": NOT_FOUND_BY_SEARCHING | {"Referrer-Policy": "strict-origin", "Cache-Control": "no-store"},
    "/invitation/": NOT_FOUND_BY_SEARCHING | {"Referrer-Policy": "strict-origin", "Cache-Control": "no-store"},
}


def hide_keys(text: str) -> str:
    """A line of a log with dots in place of each secret part of an address.

    >>> hide_keys("GET /feeds/qN3-_x/rounds.ics HTTP/1.1")
    'GET /feeds/.../rounds.ics HTTP/1.1'
    """
    return SECRET.sub(r"\1...", text)


def secret_addresses(
    get_response: Callable[[HttpRequest], HttpResponseBase],
) -> Callable[[HttpRequest], HttpResponseBase]:
    """Middleware: headers on whatever is answered there; at a feed's and a mail's no cookie is read, so none is set."""

    def answer(request: HttpRequest) -> HttpResponseBase:
        if request.path.startswith((FEEDS, CHOICES)):
            request.META.pop("HTTP_COOKIE", None)
        response = get_response(request)
        for prefix, headers in HEADERS.items():
            if request.path.startswith(prefix):
                for name, value in headers.items():
                    response.headers[name] = value
        return response

    return answer
