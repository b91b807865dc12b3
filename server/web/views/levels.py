"""The farm's own action levels: what applies now, and a new one with its reason. Old ones stay on record."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from alerts.selectors import levels_of
from alerts.services import NewLevel, set_farm_level
from farms.access import Need
from farms.selectors import facilities_of
from monitoring.methods import METHODS
from server.web.doors import Visit, farm_page
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
    context = {"visit": visit, "form": form, "rows": rows}
    return render(request, "web/levels.html", context, status=422 if form.errors else 200)


def _set(request: HttpRequest, visit: Visit, form: LevelForm, facilities: list[object]) -> None:
    wanted = form.cleaned_data
    facility = next((item for item in facilities if str(item.id) == wanted["facility"]), None)  # type: ignore[attr-defined]
    level = NewLevel(wanted["method"], wanted["value"], wanted["reason"], wanted["valid_from"], facility)
    set_farm_level(farm=visit.farm, level=level, by=request.user, now=visit.now)
