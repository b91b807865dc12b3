"""The farm's own action levels: what applies now, and a new one with its reason. Old ones stay on record."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from alerts.checks.level_preview import level_preview
from alerts.selectors import levels_of
from alerts.services import NewLevel, TakenBack, set_farm_level, take_farm_level_back
from farms.access import Need
from farms.selectors import facilities_of
from monitoring.methods import METHODS
from server.web.doors import Visit, farm_page
from server.web.forms.alert import TryLevelForm
from server.web.forms.farm import LevelForm
from server.web.forms.refusals import accepted


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def levels(request: HttpRequest, visit: Visit) -> HttpResponse:
    facilities = list(facilities_of(visit.farm))
    form = LevelForm(request.POST or None, facilities=facilities, initial={"valid_from": visit.today})
    if form.is_valid() and accepted(form, lambda: _set(request, visit, form, facilities)):
        messages.success(request, _("The new action level is kept, with its reason."))
        return redirect("levels", farm_id=visit.farm.id)
    applying = levels_of(visit.farm, visit.today)
    rows = [(None, method, applying.of(code)) for code, method in METHODS.items()]
    rows += [
        (facility, method, level)
        for facility in facilities
        for code, method in METHODS.items()
        if (level := applying.of(code, facility.id)) is not None and level.level_of == "facility"
    ]
    context = {"visit": visit, "form": form, "rows": rows, **_tried(request, visit, facilities)}
    return render(request, "web/levels.html", context, status=422 if form.errors else 200)


def _tried(request: HttpRequest, visit: Visit, facilities: list[object]) -> dict[str, object]:
    """A level that somebody tries on the last season, and the alerts that it would have had."""
    asked = "try_value" in request.GET
    form = TryLevelForm(request.GET if asked else None, facilities=facilities)
    if not form.is_valid():
        return {"try_form": form}
    wanted = form.cleaned_data
    told = level_preview(
        visit.farm, method=wanted["try_method"], value=wanted["try_value"], today=visit.today,
        facility=_facility(facilities, wanted["try_facility"]),
    )  # fmt: skip
    return {"try_form": form, "preview": told, "nothing": told is None, "tried": wanted["try_value"]}


def _facility(facilities: list[object], wanted: str) -> Any:
    return next((item for item in facilities if str(item.id) == wanted), None)  # type: ignore[attr-defined]


def _set(request: HttpRequest, visit: Visit, form: LevelForm, facilities: list[object]) -> None:
    wanted = form.cleaned_data
    facility = _facility(facilities, wanted["facility"])
    what = wanted["method"], wanted["reason"], wanted["valid_from"], facility
    if wanted["value"] is None:
        take_farm_level_back(farm=visit.farm, place=TakenBack(*what), by=request.user, now=visit.now)
        return
    level = NewLevel(wanted["method"], wanted["value"], *what[1:])
    set_farm_level(farm=visit.farm, level=level, by=request.user, now=visit.now)
