"""Pages leave compressed where the browser takes that, also where no proxy stands before the service."""

from typing import TYPE_CHECKING

from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware

from server.secret_addresses import HEADERS

if TYPE_CHECKING:
    from django.http import HttpRequest

SECRET = tuple(HEADERS)


class CompressedPages(GZipMiddleware):
    """Django's middleware, for HTML alone.

    A page that repeats what somebody sends it beside a secret could tell the secret by its length (BREACH, Gluck,
    Harris and Prado 2013): Django's adds random bytes to each answer, and masks the form's token anew each time.
    Exports that are streamed leave in pieces of their own, the API's tags are strong and compared to the letter, and
    what stands at a secret address is answered alike to the byte: all of these stay as they are.
    """

    def process_response(self, request: "HttpRequest", response: HttpResponseBase) -> HttpResponseBase:
        is_page = response.headers.get("Content-Type", "").startswith("text/html")
        if response.streaming or not is_page or request.path.startswith(SECRET):
            return response
        return super().process_response(request, response)
