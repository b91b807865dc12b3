"""Pages by key: where a page ends is said by the values of its last row, so that rows which arrive move nothing.

An offset, or the value of a day alone, would lose or repeat rows of the same day while more come in. What is kept in
`newest_first` of a view has to end with something that no two rows share.
"""

import base64
import binascii
import json
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.core.exceptions import FieldError, ValidationError
from django.db.models import Model, Q, QuerySet
from django.utils.translation import gettext_lazy as _
from rest_framework.pagination import BasePagination
from rest_framework.request import Request
from rest_framework.response import Response

from farms.errors import Detail
from server.api.problems import BadQuery

USUAL, MOST = 100, 1000
NOT_OURS = _("This isn't a cursor of this list. Take it from `next` of the page before, or start without one.")
CURSOR = _("Where to go on: taken from `next` or `previous` of the page before.")
LIMIT = _("How many rows on a page: 100 unless said otherwise, 1,000 at most.")


@dataclass(frozen=True)
class Cursor:
    """A place in a list: the key of the row it lies at, which way to read from there, and the state that is read.

    `state` is the number of the farm's chain at which a list was begun (see `NewestFirst`), or None.
    """

    key: tuple[Any, ...]
    back: bool = False
    state: int | None = None

    def text(self) -> str:
        # str() keeps a moment's microseconds, which DRF's own encoder drops.
        told = json.dumps([self.back, self.state, *self.key], default=str, separators=(",", ":"))
        return base64.urlsafe_b64encode(told.encode()).decode().rstrip("=")

    @classmethod
    def of(cls, text: str) -> "Cursor":
        """The cursor that `text` made. Raises BadQuery."""
        try:
            told = json.loads(base64.urlsafe_b64decode(text + "=" * (-len(text) % 4)))
            back, state, *key = told
        except (ValueError, TypeError, binascii.Error) as error:
            raise not_ours() from error
        fitting = state is None or (type(state) is int and 0 <= state < 2**62)
        if not isinstance(back, bool) or not fitting:
            raise not_ours()
        return cls(tuple(key), back, state)


def not_ours() -> BadQuery:
    return BadQuery(errors=[Detail("cursor", str(NOT_OURS), "bad_cursor")])


class NewestFirst(BasePagination):
    """100 rows a page, up to 1,000 by `limit`, in the order of the view's `newest_first`; links lead on and back.

    A view whose list also loses rows (a reading that is corrected) has a `state` and `as_of(rows, state)`: every page
    then reads the list as it stood at the first one.
    """

    def paginate_queryset(self, queryset: QuerySet[Any], request: Request, view: Any = None) -> list[Any]:
        self.request, self.order = request, tuple(view.newest_first)
        self.size = page_size(request)
        given = request.query_params.get("cursor")
        self.cursor = Cursor.of(given) if given is not None else None
        self.state = self._state(view)
        rows = view.as_of(queryset, self.state) if self.state is not None else queryset
        back = self.cursor is not None and self.cursor.back
        found = list(self._from_cursor(rows, back=back)[: self.size + 1])
        more, self.rows = len(found) > self.size, found[: self.size]
        if back:
            self.rows.reverse()
        self.has_next = more or back
        self.has_previous = more if back else self.cursor is not None
        return self.rows

    def get_paginated_response(self, data: Any) -> Response:
        links = {
            "next": self._link(self.rows[-1], back=False) if self.has_next and self.rows else None,
            "previous": self._link(self.rows[0], back=True) if self.has_previous and self.rows else None,
        }
        return Response({**links, "results": data})

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        link = {"type": ["string", "null"], "format": "uri"}
        properties = {"next": link, "previous": link, "results": schema}
        return {"type": "object", "required": ["next", "previous", "results"], "properties": properties}

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        parameters: list[tuple[str, Any, dict[str, Any]]] = [
            ("cursor", CURSOR, {"type": "string"}),
            ("limit", LIMIT, {"type": "integer", "minimum": 1, "maximum": MOST, "default": USUAL}),
        ]
        return [
            {"name": name, "in": "query", "required": False, "description": str(told), "schema": schema}
            for name, told, schema in parameters
        ]

    def _state(self, view: Any) -> int | None:
        """The number of the chain's entry as of which the list is read; None where it doesn't matter."""
        state = getattr(view, "state", None)
        if state is None:
            return None
        if self.cursor is None:
            return int(state())
        if self.cursor.state is None:
            raise not_ours()
        return self.cursor.state

    def _from_cursor(self, rows: QuerySet[Any], *, back: bool) -> QuerySet[Any]:
        names = [_turned(name) for name in self.order] if back else list(self.order)
        rows = rows.order_by(*names)
        if self.cursor is None:
            return rows
        try:
            return rows.filter(beyond(rows.model, names, self.cursor.key))
        except (ValidationError, FieldError, ValueError, TypeError, OverflowError) as error:
            raise not_ours() from error

    def _link(self, row: Any, *, back: bool) -> str:
        key = tuple(getattr(row, name.lstrip("-")) for name in self.order)
        query = self.request.query_params.copy()
        query["cursor"] = Cursor(key, back, self.state).text()
        return self.request.build_absolute_uri(f"{self.request.path}?{urlencode(sorted(query.items()))}")


def page_size(request: Request) -> int:
    """How many rows somebody wants on a page. Raises BadQuery."""
    given = request.query_params.get("limit", str(USUAL))
    if not (given.isascii() and given.isdecimal()) or len(given) > 4 or not 1 <= int(given) <= MOST:
        raise BadQuery(errors=[Detail("limit", str(_("Give a whole number from 1 to 1000.")), "bad_limit")])
    return int(given)


def beyond(model: type[Model], order: list[str], key: tuple[Any, ...]) -> Q:
    """The rows that come after the one with this key, in an order such as ["-taken_on", "-id"].

    Raises ValueError or ValidationError where the key can't be one of this order.
    """
    if len(key) != len(order):
        raise ValueError("A key has a value for each name of the order.")
    values = [_value(model, name.lstrip("-"), told) for name, told in zip(order, key, strict=True)]
    condition = Q()
    for name, value in reversed(list(zip(order, values, strict=True))):
        field, after = name.lstrip("-"), "lt" if name.startswith("-") else "gt"
        further = Q(**{f"{field}__{after}": value})
        condition = further | (Q(**{field: value}) & condition) if condition else further
    # Said once more in a form that an index on the first column can use.
    first, after = order[0].lstrip("-"), "lte" if order[0].startswith("-") else "gte"
    return Q(**{f"{first}__{after}": values[0]}) & condition


def _value(model: type[Model], name: str, told: Any) -> Any:
    if not isinstance(told, str | int) or isinstance(told, bool) or (isinstance(told, str) and "\x00" in told):
        raise ValueError("A key's values are texts or whole numbers.")
    value = model._meta.get_field(name).to_python(told)
    if value is None:
        raise ValueError("A key's value can't be missing.")
    return value


def _turned(name: str) -> str:
    return name[1:] if name.startswith("-") else f"-{name}"


class OnePage(BasePagination):
    """All rows at once, for what a farm has few of; in the same envelope, so that a client reads both alike."""

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> list[Any]:
        return list(queryset)

    def get_paginated_response(self, data: Any) -> Response:
        return Response({"results": data})

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        return {"type": "object", "required": ["results"], "properties": {"results": schema}}
