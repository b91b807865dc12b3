"""Reading a request's body: within its size, in UTF-8, and JSON without the liberties that Python's parser takes."""

import json
from collections.abc import Mapping
from typing import Any, BinaryIO

from django.utils.translation import gettext_lazy as _
from rest_framework.parsers import BaseParser
from rest_framework.request import Request

from farms.errors import Detail, Invalid, TooLarge
from monitoring.csv_import.text import MOST_BYTES
from monitoring.rules.collecting import collected_later
from monitoring.rules.table import shown
from server.api.problems import Unreadable

MEGABYTE = 1024 * 1024
NOT_A_LIST = _("Send an object whose `readings` is a list.")
UNKNOWN_NAME = _("Nothing of this name is known here. Check how it is written.")


class NotUtf8(Invalid):
    code = "not_utf8"
    message = _("Byte {place} isn't UTF-8. Encode what you send as UTF-8, and send it again.")


class FileMissing(Invalid):
    code = "file_missing"
    message = _("Send one file, as the form's field `file`, or as the whole body with Content-Type text/csv.")


class NotJson(Unreadable):
    code = "not_json"
    message = _("This isn't JSON: {why} at line {line}, column {column}. Correct it and send it again.")


class BodyTooLarge(TooLarge):
    code = "body_too_large"
    message = _("This has more than {most} MB, the most that this address takes. Split it and send the parts.")


class JsonBody(BaseParser):
    """A JSON document of at most a megabyte."""

    media_type = "application/json"
    most_bytes = MEGABYTE

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Mapping[str, Any] | None = None) -> Any:
        return read_json(read_bytes(stream, self.most_bytes))


class BulkJsonBody(JsonBody):
    """A JSON document with many readings, in bytes: some are only kept, to be read later (`read_json`)."""

    most_bytes = 15 * MEGABYTE

    def parse(
        self, stream: Any, media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> bytes:
        return read_bytes(stream, self.most_bytes)


class CsvBody(BaseParser):
    """A CSV file as the whole body, in bytes; monitoring.csv_import makes sense of them."""

    media_type = "text/csv"

    def parse(
        self, stream: Any, media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> bytes:
        content: bytes = stream.read(MOST_BYTES + 1)
        return content


def file_in(request: Request) -> bytes:
    """The CSV file that a request brings, as its body or as the field `file` of a form. Raises FileMissing.

    One byte more than monitoring.csv_import takes is enough for it to refuse.
    """
    if isinstance(request.data, bytes):
        return request.data
    files = request.FILES
    if list(files) != ["file"] and (files or request.data):
        raise FileMissing(pointer="/file")
    if not files:
        return b""
    with files["file"] as file:
        content: bytes = file.read(MOST_BYTES + 1)
        return content


def read_bytes(stream: BinaryIO, most: int) -> bytes:
    """All of the stream. Raises BodyTooLarge beyond `most` bytes, without reading further."""
    content = stream.read(most + 1)
    if len(content) > most:
        raise BodyTooLarge(most=most // MEGABYTE)
    return content


@collected_later()
def read_json(content: bytes) -> Any:
    """The document. Raises NotUtf8 or NotJson."""
    try:
        return json.loads(content.decode(), parse_constant=_no_such_number, object_pairs_hook=_once_each)
    except UnicodeDecodeError as error:
        raise NotUtf8(place=error.start + 1) from error
    except json.JSONDecodeError as error:
        raise _not_json(error.msg, error.lineno, error.colno) from error
    except RecursionError as error:
        raise _not_json("it is nested too deeply", 1, 1) from error
    except ValueError as error:
        # A number with thousands of digits, NaN, a name given twice.
        raise _not_json(str(error), 1, 1) from error


def readings_in(body: Any) -> list[Any]:
    """The list in a bulk request's body. Raises Invalid."""
    if not isinstance(body, dict) or not isinstance(body.get("readings"), list):
        raise Invalid(errors=[Detail("/readings", str(NOT_A_LIST), "not_a_list")])
    unknown = sorted(set(body) - {"readings"})
    if unknown:
        raise Invalid(errors=[Detail(f"/{shown(name)}", str(UNKNOWN_NAME), "unknown") for name in unknown])
    return list(body["readings"])


def _not_json(why: str, line: int, column: int) -> NotJson:
    return NotJson(why=why[:1].lower() + why[1:], line=line, column=column)


def _no_such_number(name: str) -> None:
    raise ValueError(f"{name} isn't a number in JSON")


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("an object names a field twice")
    return found
