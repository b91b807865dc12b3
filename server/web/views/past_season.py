"""A region's past season for the meeting of its group, as a page and as a PDF. From stored reports only."""

from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import translation
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from alerts.selectors.region_seasons import RegionSeason, season_of_region
from alerts.selectors.rounds_told import share_of_rounds
from alerts.wording import regions as words
from alerts.wording.region_seasons import no_prize, participation_sentence
from farms import clock
from farms.agreement import licence_of_group
from farms.clock import local_date
from farms.errors import Missing
from farms.licences import Licence
from server.reports.regions import season_sheet, sheet_answer
from server.web.doors import signed_in
from server.web.region_figures import season_figures_of
from server.web.views.region import language_asked, open_region

FIRST_YEAR, LAST_YEAR = 2000, 2200  # of what somebody may ask for


@signed_in
@require_safe
def past_season(request: HttpRequest, region_id: UUID, year: int) -> HttpResponse:
    """A past season for the group's meeting: from stored reports only."""
    found = open_region(request, region_id)
    season, rounds = _season(found, year)
    context = {
        "region": found,
        "year": year,
        "figures": season_figures_of(season),
        "participation": participation_sentence(rounds),
        "no_prize": no_prize(),
        "why_own_normal": words.why_own_normal(),
        "why_not_told": words.why_not_told(),
        "licence": _licence(found),
    }
    return render(request, "web/past_season.html", context)


@signed_in
@require_safe
def past_season_pdf(request: HttpRequest, region_id: UUID, year: int) -> HttpResponse:
    """The same as a PDF of one page."""
    found = open_region(request, region_id)
    season, rounds = _season(found, year)
    if season.week is None:
        messages.warning(request, _("There is nothing to print: no report of that year was published."))
        return redirect("past_season", region_id=region_id, year=year)
    with translation.override(language_asked(request)):
        sheet = season_sheet(found, season, year, rounds, _licence(found))
        return sheet_answer(sheet, found, str(year), request.GET.get("paper", ""))


def _season(found: Any, year: int) -> tuple[RegionSeason, float | None]:
    """The reports of the weeks that begin in a year, and the share of its rounds that came."""
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise Missing()
    first, last = date(year, 1, 1), date(year, 12, 31)
    season = season_of_region(found.id, first, last)
    return season, share_of_rounds(found.id, first, last) if season.week else None


def _licence(found: Any) -> Licence:
    """Under which licence the region's reports may be passed on today."""
    return licence_of_group(found.group_id, local_date(clock.now(), found.group.time_zone))
