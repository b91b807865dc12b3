"""A request whose body ended early stores nothing.

Half a JSON document isn't one, but half a CSV file is a shorter file, and its last number a smaller number. A web
server hands on what came, so whoever reads a body must count it.
"""

from collections.abc import Callable
from io import IOBase
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBadRequest
from django.http.request import UnreadablePostError

GetResponse = Callable[[HttpRequest], HttpResponse]


class WholeStream(IOBase):
    """A body that is read to the length that its sender told, or not at all. Raises OSError where it ends before."""

    def __init__(self, stream: Any, length: int) -> None:
        self.stream, self.left = stream, length

    def read(self, size: int | None = -1, /) -> bytes:
        wanted = self.left if size is None or size < 0 else min(size, self.left)
        pieces = []
        while wanted > 0:
            piece = self._counted(self.stream.read(wanted))
            pieces.append(piece)
            wanted -= len(piece)
        return b"".join(pieces)

    def readline(self, size: int | None = -1, /) -> bytes:  # type: ignore[override]
        if self.left == 0 or size == 0:
            return b""
        return self._counted(self.stream.readline(size))

    def _counted(self, piece: bytes) -> bytes:
        if not piece:
            # Django makes an UnreadablePostError of it, wherever a body is read.
            raise OSError("the body ended early")
        self.left -= len(piece)
        return piece


class CutOffMiddleware:
    """Watches over every body, and answers 400 to half of one; most often nobody is there any more to read it."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        told = request.META.get("CONTENT_LENGTH") or ""
        if told.isdecimal():
            request._stream = WholeStream(request._stream, int(told))  # type: ignore[attr-defined]  # noqa: SLF001
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        return HttpResponseBadRequest() if isinstance(exception, UnreadablePostError) else None
