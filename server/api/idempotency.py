"""`Idempotency-Key` on every POST: a request sent again within thirty days gets the answer of the first.

The header is the one of the IETF's HTTPAPI group (draft-ietf-httpapi-idempotency-key-header): a text in quotes; without
them it is taken, too. Rounds need no key: they carry the ids of their sender.
"""

import json
import re
import zlib

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.utils.translation import gettext_lazy as _

from farms.access import Who
from farms.errors import Invalid
from farms.models import Farm
from farms.models.answer import KeptAnswer
from farms.services.answer import Asking

HEADER = "Idempotency-Key"
KEY = re.compile(r'"([\x21\x23-\x5b\x5d-\x7e]{8,200})"|([\x21\x23-\x5b\x5d-\x7e]{8,200})')
# What else of an answer is told again.
TOLD_AGAIN = ("Location", "Preference-Applied")


class KeyWrong(Invalid):
    code = "idempotency_key_wrong"
    message = _("Send as Idempotency-Key 8 to 200 letters, digits or signs, at best a UUID, one for each new request.")


def asking_of(request: HttpRequest, who: Who, farm: Farm | None) -> Asking | None:
    """What a POST asks, where it may come again; None without the header. Raises KeyWrong."""
    given = request.headers.get(HEADER)
    if request.method != "POST" or given is None:
        return None
    found = KEY.fullmatch(given.strip())
    if found is None:
        raise KeyWrong()
    said = [request.get_full_path(), request.headers.get("Content-Type", ""), request.headers.get("Prefer", "")]
    return Asking(who.id, farm, found[1] or found[2], "\n".join(said).encode() + b"\n" + request.body)


def packed(response: HttpResponseBase) -> bytes:
    """An answer as it is kept."""
    headers = {name: response.headers[name] for name in ("Content-Type", *TOLD_AGAIN) if name in response.headers}
    content: bytes = getattr(response, "content", b"")
    return zlib.compress(json.dumps(headers).encode() + b"\n" + content, level=1)


def unpacked(kept: KeptAnswer) -> HttpResponse:
    """The answer as it was given."""
    headers, _newline, content = zlib.decompress(bytes(kept.answer or b"")).partition(b"\n")
    return HttpResponse(content, status=kept.status, headers=json.loads(headers))
