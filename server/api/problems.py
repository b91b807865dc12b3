"""One shape for every error under /api/: RFC 9457 problem+json, with a stable `code` and a full sentence.

Services raise farms.errors; here, and nowhere else, a kind becomes a status. What Django answers with a page of its own
(no such address, a crash) is put into the same shape by `problem_pages`.
"""

import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Any
from uuid import uuid4

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.utils.translation import gettext_lazy as _
from rest_framework import exceptions

from farms.errors import Conflict, FlyroundError, Forbidden, Invalid, Missing, TooLarge
from server.api.conditional import MatchMissing, Stale

CONTENT_TYPE = "application/problem+json"
REQUEST_ID = "X-Request-ID"
# What a client may choose as its request's id: it is written into our log.
SAFE_ID = re.compile(r"[A-Za-z0-9._-]{1,64}")
# No body of the API is larger; a parser may allow less.
MOST_BYTES = 16 * 1024 * 1024

# Python's own phrases differ between its versions.
TITLES = {
    400: "Bad Request", 401: "Unauthorized", 403: "Forbidden", 404: "Not Found", 405: "Method Not Allowed",
    406: "Not Acceptable", 409: "Conflict", 412: "Precondition Failed", 413: "Content Too Large",
    415: "Unsupported Media Type", 422: "Unprocessable Content", 428: "Precondition Required",
    429: "Too Many Requests", 500: "Internal Server Error", 503: "Service Unavailable",
}  # fmt: skip
PLAIN: dict[int, tuple[str, Any]] = {
    400: ("unreadable", _("The request can't be read. Check its form against the documentation under /api/v1/docs.")),
    401: ("not_signed_in", _("Send a token as `Authorization: Bearer ...`, or sign in first.")),
    403: (Forbidden.code, Forbidden.message),
    404: (Missing.code, Missing.message),
    405: ("method_not_allowed", _("This address doesn't take that method. Use one of those in the Allow header.")),
    406: ("not_acceptable", _("Answers are JSON only. Ask for application/json, or leave the Accept header away.")),
    409: (Conflict.code, Conflict.message),
    412: (Stale.code, Stale.message),
    413: (TooLarge.code, TooLarge.message),
    415: ("unsupported_media_type", _("That kind of content isn't taken here. Set Content-Type as documented.")),
    422: (Invalid.code, Invalid.message),
    428: (MatchMissing.code, MatchMissing.message),
    429: ("too_many_requests", _("Too many requests came in a short time. Wait as the Retry-After header says.")),
    500: ("server_error", _("Something went wrong here and nothing was stored. Try again, and report the request id.")),
    503: ("unavailable", _("The service is busy or being updated. Nothing was stored; try again in a minute.")),
}


# Where nothing smaller is named, these are about the whole body: its JSON pointer is empty.
ABOUT_WHAT_WAS_SENT = (400, 413, 422)


class Unreadable(FlyroundError):
    """The request's body isn't in the form that it says it has."""

    code, message = PLAIN[400]


class BadQuery(Invalid):
    """Something is wrong with the address's query; its errors name a `parameter`, not a pointer into the body."""

    code = "bad_query"
    message = _("Part of the address after the question mark isn't understood. Correct what is named below.")


KINDS: tuple[tuple[type[FlyroundError], int], ...] = (
    (Unreadable, 400), (TooLarge, 413), (Conflict, 409), (Forbidden, 403), (Missing, 404), (Invalid, 422),
    (Stale, 412), (MatchMissing, 428),
)  # fmt: skip


@dataclass(frozen=True)
class Problem:
    """An error on its way out: its status, what it says, where it points."""

    status: int
    code: str
    detail: str
    errors: list[dict[str, str]] = field(default_factory=list)
    members: Mapping[str, Any] = field(default_factory=dict)
    headers: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def plain(cls, status: int, code: str = "", detail: Any = "", **more: Any) -> "Problem":
        """The usual problem of a status; another code or sentence where one is given."""
        known = PLAIN.get(status) or PLAIN[500 if status >= 500 else 400]
        return cls(status, code or known[0], str(detail or known[1]), **more)

    def response(self, request: HttpRequest) -> HttpResponse:
        body: dict[str, Any] = {
            "type": "about:blank",
            "title": TITLES.get(self.status, "Error"),
            "status": self.status,
            "code": self.code,
            "detail": self.detail,
        }
        if self.errors:
            body["errors"] = self.errors
        body |= {**self.members, "request_id": getattr(request, "request_id", "")}
        content = json.dumps(body, ensure_ascii=False, default=str).encode()
        return HttpResponse(content, status=self.status, headers={"Content-Type": CONTENT_TYPE, **self.headers})


def handle(exc: Exception, context: Mapping[str, Any]) -> HttpResponse | None:
    """DRF's exception handler: the problem for an error we know, with everything undone; None for a crash."""
    problem = problem_of(exc)
    if problem is None:
        return None
    if transaction.get_connection().in_atomic_block:
        transaction.set_rollback(True)
    return problem.response(context["request"])


def problem_of(exc: Exception) -> Problem | None:
    if isinstance(exc, FlyroundError):
        return refusal_of(exc)
    if isinstance(exc, exceptions.ValidationError):
        return Problem.plain(422, errors=list(flatten(exc.detail)))
    if isinstance(exc, Http404 | exceptions.NotFound):
        return Problem.plain(404)
    if isinstance(exc, PermissionDenied):
        return Problem.plain(403)
    return _of_framework(exc) if isinstance(exc, exceptions.APIException) else None


def status_of(kind: type[FlyroundError]) -> int:
    """The status that a kind of error is answered with."""
    return next((status for known, status in KINDS if issubclass(kind, known)), 422)


def refusal_of(exc: FlyroundError) -> Problem:
    """The problem that a service's refusal is told as."""
    status = status_of(type(exc))
    key = "parameter" if isinstance(exc, BadQuery) else "pointer"
    errors = [{key: e.pointer, "code": e.code or exc.code, "detail": e.detail} for e in exc.errors]
    if not errors and status in ABOUT_WHAT_WAS_SENT:
        errors = [{"pointer": "", "code": exc.code, "detail": str(exc)}]
    # What a service tells besides the sentence, such as the reading that was there first.
    members = {"details": exc.details} if exc.details else {}
    headers = {} if exc.wait is None else {"Retry-After": str(exc.wait)}
    return Problem(status, exc.code, str(exc), errors, members, headers)


def _of_framework(exc: exceptions.APIException) -> Problem:
    headers = {}
    if getattr(exc, "auth_header", None):
        headers["WWW-Authenticate"] = exc.auth_header
    if getattr(exc, "wait", None):
        headers["Retry-After"] = str(int(exc.wait))
    said = exc.detail if isinstance(exc, exceptions.ParseError | exceptions.AuthenticationFailed) else ""
    code = "" if isinstance(exc, exceptions.NotAuthenticated) else getattr(said, "code", "")
    if isinstance(exc, exceptions.PermissionDenied) and str(exc.detail).startswith("CSRF"):
        code, said = "csrf", _("Send the csrftoken cookie's value as X-CSRFToken, or use a token instead of a session.")
    return Problem.plain(exc.status_code, code, said, headers=headers)


@contextmanager
def pointing(names: Mapping[str, str]) -> Iterator[None]:
    """Give a service's pointers the names that the request has for the same things."""
    try:
        yield
    except FlyroundError as error:
        error.errors = [replace(each, pointer=names.get(each.pointer, each.pointer)) for each in error.errors]
        raise


def flatten(detail: Any, pointer: str = "") -> Iterable[dict[str, str]]:
    """DRF's nested errors as a flat list, each with its JSON pointer (RFC 6901)."""
    if isinstance(detail, Mapping):
        for key, inner in detail.items():
            yield from flatten(inner, pointer if key == "non_field_errors" else f"{pointer}/{_escaped(key)}")
    elif isinstance(detail, list):
        for place, inner in enumerate(detail):
            # A list of sentences is about this place; a list of mappings is about its items.
            yield from flatten(inner, f"{pointer}/{place}" if isinstance(inner, Mapping | list) else pointer)
    else:
        yield {"pointer": pointer, "code": getattr(detail, "code", "invalid"), "detail": str(detail)}


def _escaped(key: Any) -> str:
    return str(key).replace("~", "~0").replace("/", "~1")


def problem_pages(get_response: Callable[[HttpRequest], HttpResponseBase]) -> Callable[[HttpRequest], HttpResponseBase]:
    """Middleware: give every request an id, and errors under /api/ that Django answers itself our shape."""

    def answer(request: HttpRequest) -> HttpResponseBase:
        given = request.META.get("HTTP_X_REQUEST_ID", "")
        request_id = given if SAFE_ID.fullmatch(given) else uuid4().hex
        # The log's middleware reads the header.
        request.META["HTTP_X_REQUEST_ID"] = request_id
        request.request_id = request_id  # type: ignore[attr-defined]
        in_api = request.path.startswith("/api/")
        response = _too_large(request) if in_api and _length(request) > MOST_BYTES else get_response(request)
        if in_api and response.status_code >= 400 and response.headers.get("Content-Type") != CONTENT_TYPE:
            response = Problem.plain(response.status_code, headers=_kept(response)).response(request)
        response.headers[REQUEST_ID] = request_id
        return response

    return answer


def _kept(response: HttpResponseBase) -> dict[str, str]:
    """What a program still needs of an answer that gets another body."""
    return {"Retry-After": response.headers["Retry-After"]} if "Retry-After" in response.headers else {}


def _length(request: HttpRequest) -> int:
    given = request.META.get("CONTENT_LENGTH") or "0"
    return int(given) if given.isdecimal() else 0


def _too_large(request: HttpRequest) -> HttpResponse:
    return Problem.plain(413).response(request)


def nothing_here(request: HttpRequest) -> HttpResponse:
    """The answer at every address under /api/ that doesn't exist: no page needs to be drawn for a program."""
    return Problem.plain(404).response(request)
