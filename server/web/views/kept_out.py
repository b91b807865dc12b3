"""Kept out: a label's time typed for a building, what runs, what was; and one that was typed wrongly mended."""

from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from farms.access import Need, one_of
from farms.errors import Detail
from farms.selectors import facilities_of
from monitoring.errors import ReentryRefused
from monitoring.selectors import reentries_of
from monitoring.services import Mending, ReentryTyped, record_reentry
from server.web.doors import Visit, farm_page
from server.web.forms.kept_out import KeptOutForm, MendForm
from server.web.forms.refusals import accepted
from server.web.kept_out import kept_out_told, long_clock, typed_by_names, who_typed

A_PAGE = 50
# What the service names otherwise than the form.
FIELDS = {"/until": "/ends_on", "/begins_at": "/begins_on", "/reason": "/why"}


@farm_page(Need.RECORD)
@require_http_methods(["GET", "HEAD", "POST"])
def kept_out(request: HttpRequest, visit: Visit) -> HttpResponse:
    form = KeptOutForm(request.POST or None, initial=_usual(visit), **_known(visit))
    if form.is_valid() and accepted(form, lambda: _record(visit, form)):
        messages.success(
            request, _("It is on record. Every round says so while it runs. Tell those who work there, too.")
        )
        return redirect("kept_out", farm_id=visit.farm.id)
    page = Paginator(reentries_of(visit.farm), A_PAGE).get_page(request.GET.get("page"))
    context = {
        "visit": visit,
        "form": form,
        "kept_out": kept_out_told(visit, languages=[get_language() or "en"]),
        "page": page,
        "lines": _lines(visit, list(page)),
    }
    return render(request, "web/kept_out.html", context, status=422 if form.errors else 200)


@farm_page(Need.RECORD)
@require_http_methods(["GET", "HEAD", "POST"])
def mend(request: HttpRequest, visit: Visit, reentry_id: UUID) -> HttpResponse:
    """Type it anew, with the reason: the first stays."""
    found = one_of(reentries_of(visit.farm), reentry_id)
    form = MendForm(request.POST or None, initial=_as_typed(visit, found), **_known(visit))
    if form.is_valid() and accepted(form, lambda: _record(visit, form, found)):
        messages.success(request, _("It is changed. What was typed first stays on record, and both are shown."))
        return redirect("kept_out", farm_id=visit.farm.id)
    context = {"visit": visit, "form": form, "line": _lines(visit, [found])[0]}
    return render(request, "web/kept_out_mend.html", context, status=422 if form.errors else 200)


def _record(visit: Visit, form: KeptOutForm, replaced: Any = None) -> None:
    found = form.cleaned_data
    typed = ReentryTyped(
        begins_at=found["begins_at"], until=found["until"], label_says=found["label_says"],
        facility=form.facilities.get(found["facility_id"]),
    )  # fmt: skip
    mending = Mending(replaced, found["why"]) if replaced is not None else None
    try:
        record_reentry(farm=visit.farm, typed=typed, actor=visit.actor, now=visit.now, mending=mending)
    except ReentryRefused as refusal:
        named = [Detail(FIELDS.get(each.pointer, each.pointer), each.detail, each.code) for each in refusal.errors]
        raise ReentryRefused(errors=named) from refusal


def _known(visit: Visit) -> dict[str, Any]:
    return {"facilities": list(facilities_of(visit.farm)), "zone": visit.farm.time_zone}


def _usual(visit: Visit) -> dict[str, Any]:
    """From now; until when, nobody but the label says."""
    here = visit.now.astimezone(ZoneInfo(visit.farm.time_zone))
    return {"begins_on": here.date(), "begins_clock": here.time()}


def _as_typed(visit: Visit, row: Any) -> dict[str, Any]:
    zone = ZoneInfo(visit.farm.time_zone)
    begins, ends = row.begins_at.astimezone(zone), row.until.astimezone(zone)
    return {
        "facility_id": str(row.facility_id or ""), "label_says": row.label_says,
        "begins_on": begins.date(), "begins_clock": begins.time(), "ends_on": ends.date(), "ends_clock": ends.time(),
    }  # fmt: skip


def _lines(visit: Visit, rows: list[Any]) -> list[dict[str, Any]]:
    """What was typed, a line each, as the log tells it."""
    names, zone = typed_by_names(visit, rows), visit.farm.time_zone
    return [
        {
            "row": row,
            "begins": long_clock(row.begins_at, zone),
            "ends": long_clock(row.until, zone),
            "typed": long_clock(row.recorded_at, zone),
            "who": who_typed(row, names),
            "before": long_clock(row.replaces.until, zone) if row.replaces_id else "",
        }
        for row in rows
    ]
