"""The search: a field in the head of every desk page, and what it finds."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from farms import clock
from farms.clock import local_date
from server.web.doors import signed_in
from server.web.search import LONGEST, search


@signed_in
@require_safe
def search_page(request: HttpRequest) -> HttpResponse:
    text = request.GET.get("q", "").replace("\x00", "").strip()[:LONGEST]
    kinds = search(request.user, text, local_date(clock.now(), "UTC"))  # type: ignore[arg-type]
    return render(request, "web/search.html", {"text": text, "kinds": kinds, "longest": LONGEST})
