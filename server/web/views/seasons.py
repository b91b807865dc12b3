"""The part of the year in which the farm counts."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from farms.access import Need, one_of
from farms.selectors import seasons_of
from farms.services import close_season, open_season
from server.web.doors import Visit, farm_page
from server.web.forms.farm import CloseSeasonForm, SeasonForm
from server.web.forms.refusals import accepted


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def seasons(request: HttpRequest, visit: Visit) -> HttpResponse:
    form = SeasonForm(request.POST or None, initial={"opens_on": visit.today})
    if form.is_valid() and accepted(form, lambda: open_season(farm=visit.farm, **form.cleaned_data)):
        messages.success(request, _("The season is open."))
        return redirect("seasons", farm_id=visit.farm.id)
    return _page(request, visit, form=form)


@farm_page(Need.MANAGE)
@require_POST
def close_season_here(request: HttpRequest, visit: Visit, season_id: UUID) -> HttpResponse:
    season = one_of(seasons_of(visit.farm), season_id)
    form = CloseSeasonForm(request.POST)
    if form.is_valid() and accepted(form, lambda: close_season(season=season, **form.cleaned_data)):
        messages.success(request, _("The season has its last day. After it nothing is overdue."))
        return redirect("seasons", farm_id=visit.farm.id)
    return _page(request, visit, closing=form)


def _page(
    request: HttpRequest, visit: Visit, *, form: SeasonForm | None = None, closing: CloseSeasonForm | None = None
) -> HttpResponse:
    context = {
        "visit": visit,
        "form": form or SeasonForm(initial={"opens_on": visit.today}),
        "closing": closing or CloseSeasonForm(initial={"closes_on": visit.today}),
        "seasons": seasons_of(visit.farm),
    }
    wrong = (form is not None and form.errors) or (closing is not None and closing.errors)
    return render(request, "web/seasons.html", context, status=422 if wrong else 200)
