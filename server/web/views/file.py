"""Counts brought in from a file: looked through first, with every bad cell named, and stored when somebody says so."""

from typing import Any
from uuid import UUID, uuid4

from django.contrib import messages
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST

from farms.access import Need
from farms.errors import FlyroundError
from monitoring.csv_import import read_csv
from monitoring.services import ImportPlan, record_table
from server.web.doors import Visit, farm_page
from server.web.forms.farm import ImportForm
from server.web.forms.refusals import show_refusal

# A file that was looked through waits this long to be stored; then it is chosen again.
WAITS = 30 * 60
LARGEST = 5 * 1024 * 1024


@farm_page(Need.RECORD)
@require_http_methods(["GET", "HEAD", "POST"])
def look_through(request: HttpRequest, visit: Visit) -> HttpResponse:
    """Say what the file would bring, and store nothing."""
    form = ImportForm(request.POST or None, request.FILES or None)
    context: dict[str, Any] = {"visit": visit, "form": form}
    if form.is_valid():
        # One byte more than is taken: enough for the reader to refuse it, whatever its size.
        content = form.cleaned_data["file"].read(LARGEST + 1)
        try:
            context["result"] = _take(visit, content, form.cleaned_data["order"], dry_run=True)
            context["waiting"] = _keep(visit, content, form.cleaned_data["order"])
        except FlyroundError as refusal:
            show_refusal(form, refusal)
    return render(request, "web/import.html", context, status=422 if form.errors else 200)


@farm_page(Need.RECORD)
@require_POST
def store_file(request: HttpRequest, visit: Visit, file_id: UUID) -> HttpResponse:
    """Store the file that was looked through: all of it, or its good rows where that was asked for."""
    waiting = cache.get(_key(visit, file_id))
    if waiting is None:
        messages.warning(request, _("The file waited too long. Choose it again; nothing was stored."))
        return redirect("import", farm_id=visit.farm.id)
    content, order = waiting
    try:
        result = _take(visit, content, order, partial=request.POST.get("partial") == "yes")
    except FlyroundError as refusal:
        messages.error(request, str(refusal))
        return redirect("import", farm_id=visit.farm.id)
    cache.delete(_key(visit, file_id))
    told = ngettext("%(stored)d count stored.", "%(stored)d counts stored.", result.stored)
    messages.success(request, told % {"stored": result.stored})
    return redirect("rounds", farm_id=visit.farm.id)


def _take(visit: Visit, content: bytes, order: str, *, dry_run: bool = False, partial: bool = False) -> Any:
    plan = ImportPlan(dry_run=dry_run, partial=partial, source="file")
    table = read_csv(content, order=order or None)
    return record_table(farm=visit.farm, table=table, plan=plan, actor=visit.actor, now=visit.now)


def _keep(visit: Visit, content: bytes, order: str) -> UUID:
    file_id = uuid4()
    cache.set(_key(visit, file_id), (content, order), timeout=WAITS)
    return file_id


def _key(visit: Visit, file_id: UUID) -> str:
    return f"import:{visit.farm.id}:{visit.who.id}:{file_id}"
