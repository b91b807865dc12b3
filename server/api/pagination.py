"""Pages by cursor: stable while rows are added, and as fast on the last page as on the first."""

from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework.exceptions import NotFound
from rest_framework.pagination import BasePagination, CursorPagination
from rest_framework.request import Request
from rest_framework.response import Response

from farms.errors import Detail
from server.api.problems import BadQuery


class NewestFirst(CursorPagination):
    """100 rows a page, up to 1,000 by `limit`, in the order of the view's `newest_first`; links lead on and back."""

    page_size = 100
    page_size_query_param = "limit"
    max_page_size = 1000
    ordering = ("-id",)
    cursor_query_description = _("Where to go on: taken from `next` or `previous` of the page before.")
    page_size_query_description = _("How many rows on a page: 100 unless said otherwise, 1,000 at most.")

    def get_ordering(self, request: Request, queryset: Any, view: Any) -> tuple[str, ...]:
        return tuple(getattr(view, "newest_first", self.ordering))

    def decode_cursor(self, request: Request) -> Any:
        try:
            return super().decode_cursor(request)
        except NotFound as error:
            sentence = _("This isn't a cursor of ours. Take it from `next` of the page before, or start without one.")
            raise BadQuery(errors=[Detail("cursor", str(sentence))]) from error

    def get_page_size(self, request: Request) -> int:
        given = request.query_params.get("limit", str(self.page_size))
        if not given.isdecimal() or not 1 <= int(given) <= self.max_page_size:
            raise BadQuery(errors=[Detail("limit", str(_("Give a whole number from 1 to 1000.")))])
        return int(given)


class OnePage(BasePagination):
    """All rows at once, for what a farm has few of; in the same envelope, so that a client reads both alike."""

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> list[Any]:
        return list(queryset)

    def get_paginated_response(self, data: Any) -> Response:
        return Response({"results": data})

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        return {"type": "object", "required": ["results"], "properties": {"results": schema}}
