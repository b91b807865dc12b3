"""Counts brought in from a file: looked through first, with every bad cell named, and stored when somebody says so.

A small file is stored at once. A large one is done by a worker, and a page shows how far it is.
"""

from typing import Any
from uuid import UUID, uuid4

from django.contrib import messages
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import get_language, ngettext
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from farms.access import Need, one_of
from farms.errors import FlyroundError
from monitoring.csv_import import read_csv
from monitoring.selectors import imports_of, refused_rows
from monitoring.services import ImportPlan, ImportResult, ImportSent, record_table
from server.imports import problem_of_import, take_in
from server.web.doors import Visit, farm_page
from server.web.forms.farm import ImportForm
from server.web.forms.refusals import show_refusal

# A file that was looked through waits this long to be stored; then it is chosen again.
WAITS = 30 * 60
LARGEST = 5 * 1024 * 1024
# With more rows than this somebody would wait at a blank page.
AT_ONCE = 2_000
MOST_SHOWN = 100
SHOWN_BEFORE = 5
UNFINISHED = ("waiting", "running")


@farm_page(Need.RECORD)
@require_http_methods(["GET", "HEAD", "POST"])
def look_through(request: HttpRequest, visit: Visit) -> HttpResponse:
    """Say what the file would bring, and store nothing."""
    form = ImportForm(request.POST or None, request.FILES or None)
    context: dict[str, Any] = {"visit": visit, "form": form, "before": imports_of(visit.farm)[:SHOWN_BEFORE]}
    if form.is_valid():
        # One byte more than is taken: enough for the reader to refuse it, whatever its size.
        content = form.cleaned_data["file"].read(LARGEST + 1)
        try:
            result = _take(visit, content, form.cleaned_data["order"], dry_run=True)
            context["waiting"] = _keep(visit, content, form.cleaned_data["order"])
            context["result"] = result
        except FlyroundError as refusal:
            show_refusal(form, refusal)
    return render(request, "web/import.html", context, status=422 if form.errors else 200)


@farm_page(Need.RECORD)
@require_POST
def store_file(request: HttpRequest, visit: Visit, file_id: UUID) -> HttpResponse:
    """Store the file that was looked through; its bad rows are left out."""
    waiting = cache.get(_key(visit, file_id))
    if waiting is None:
        messages.warning(request, _("The file waited too long. Choose it again; nothing was stored."))
        return redirect("import", farm_id=visit.farm.id)
    content, order = waiting
    cache.delete(_key(visit, file_id))
    if content.count(b"\n") + content.count(b"\r") > AT_ONCE:
        sent = ImportSent(content, "csv", ImportPlan(source="file"), get_language() or "en", order)
        made = take_in(farm=visit.farm, sent=sent, who=visit.who, now=visit.now)
        return redirect("import_progress", farm_id=visit.farm.id, import_id=made.id)
    try:
        tell_stored(request, _take(visit, content, order))
    except FlyroundError as refusal:
        messages.error(request, str(refusal))
        return redirect("import", farm_id=visit.farm.id)
    return redirect("rounds", farm_id=visit.farm.id)


@farm_page(Need.RECORD)
@require_safe
def progress(request: HttpRequest, visit: Visit, import_id: UUID) -> HttpResponse:
    """How far a large file is; in the end what was stored of it and what was refused."""
    imported = one_of(imports_of(visit.farm), import_id)
    unfinished = imported.state in UNFINISHED
    context: dict[str, Any] = {"visit": visit, "imported": imported, "unfinished": unfinished}
    if not unfinished:
        context |= {"problem": problem_of_import(imported), "refused": refused_rows(imported, MOST_SHOWN)}
        context["more_refused"] = imported.refused - len(context["refused"])
    return render(request, "web/import_progress.html", context)


def tell_stored(request: HttpRequest, result: ImportResult) -> None:
    told = ngettext("%(stored)d count stored.", "%(stored)d counts stored.", result.stored)
    messages.success(request, told % {"stored": result.stored})
    if result.refused:
        left_out = ngettext("%(number)d row was left out.", "%(number)d rows were left out.", result.refused)
        messages.warning(request, left_out % {"number": result.refused})


def _take(visit: Visit, content: bytes, order: str, *, dry_run: bool = False) -> ImportResult:
    plan = ImportPlan(dry_run=dry_run, source="file")
    table = read_csv(content, order=order or None)
    return record_table(farm=visit.farm, table=table, plan=plan, actor=visit.actor, now=visit.now)


def _keep(visit: Visit, content: bytes, order: str) -> UUID:
    file_id = uuid4()
    cache.set(_key(visit, file_id), (content, order), timeout=WAITS)
    return file_id


def _key(visit: Visit, file_id: UUID) -> str:
    return f"import:{visit.farm.id}:{visit.who.id}:{file_id}"
