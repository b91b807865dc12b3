"""The farm's own log, for its owner: who came in and when, and what was given, ended and taken out."""

from typing import Any
from uuid import UUID

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from farms.access import Need
from farms.selectors import log_of, names_in_log
from server.web.doors import Visit, farm_page
from server.web.log_lines import kinds_told, line_of, people_in

A_PAGE = 50


@farm_page(Need.OWN)
@require_safe
def log(request: HttpRequest, visit: Visit) -> HttpResponse:
    """Names are looked up now and stored nowhere: who has left the service is told by kind."""
    kinds = kinds_told()
    wanted = request.GET.get("kind", "")
    kind = wanted if wanted in kinds else None
    page = Paginator(log_of(visit.farm, kind=kind), A_PAGE).get_page(request.GET.get("page"))
    events: list[Any] = list(page)
    names: dict[UUID, str] = names_in_log(visit.farm, people_in(events))
    context = {
        "visit": visit,
        "page": page,
        "kinds": kinds.items(),
        "kind": kind,
        "lines": [line_of(event, names) for event in events],
    }
    return render(request, "web/log.html", context)
