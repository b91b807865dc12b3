"""A region's frozen reports, read through the role that can read these and nothing of a farm.

Whoever may open its page may open its bulletin (bulletin.py) and its past seasons (past_season.py).
"""

from datetime import date, timedelta
from functools import partial
from typing import Any
from uuid import UUID

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import translation
from django.utils.functional import SimpleLazyObject
from django.views.decorators.http import require_safe

from alerts.delivery.region_sentences import week_paragraphs
from alerts.models.mail_choice import HowOften
from alerts.selectors.mail_choices import bulletin_of
from alerts.selectors.region_seasons import (
    NO_SEASON,
    RegionSeason,
    edition_of_season,
    edition_of_week,
    groups_week,
    season_of_region,
)
from alerts.wording import regions as words
from alerts.wording.closures import closure_sentence
from farms import clock
from farms.access import farms_of, one_of
from farms.agreement import licence_of_group
from farms.clock import local_date, monday_of
from farms.closures import closures_ahead_of_region
from farms.selectors import group_roles_of, own_regions_of, regions_of, regions_open_to
from server.web.doors import signed_in
from server.web.region_figures import own_lines, region_figures, rising_where

SHOWN = timedelta(weeks=30)


@signed_in
@require_safe
def region(request: HttpRequest, region_id: UUID) -> HttpResponse:
    """For the people of the region's group and of the farms in it; everybody else finds nothing here."""
    found = open_region(request, region_id)
    today = local_date(clock.now(), found.group.time_zone)
    since = monday_of(today) - SHOWN
    edition = edition_of_season(found.id, since)
    # Read whole only where this process has not drawn it yet.
    season: Any = SimpleLazyObject(partial(season_of_region, found.id, since))
    newest = season_of_region(found.id, edition.week, edition.week) if edition.week else NO_SEASON
    roles = [role.role for role in group_roles_of(request.user) if role.group_id == found.group_id]  # type: ignore[arg-type]
    farms = list(farms_of(request.user).filter(region_id=found.id))  # type: ignore[arg-type]
    context = {
        "region": found,
        "week": edition.week,
        "newest": newest,
        "own": own_lines(farms, newest),
        "edition": f"{edition} {edition_of_week(found.group_id, edition.week)}" if edition.week else "",
        "told": partial(week_paragraphs, season),
        "figures": partial(region_figures, season),
        "rising": partial(_rising, found, season),
        "how_to_read": words.how_to_read(),
        "why_not_told": words.why_not_told(),
        "cautions": words.cautions(),
        "licence": licence_of_group(found.group_id, today),
        "bulletin": bulletin_of(request.user, found),  # type: ignore[arg-type]
        "choices": HowOften.choices,
        "coordinates": "coordinator" in roles,
        "closures": _closures(request, found.id, today),
    }
    return render(request, "web/region.html", context)


def _rising(found: Any, season: RegionSeason) -> list[tuple[str, list[tuple[str, str]]]]:
    if season.week is None:
        return []
    others = [each for each in regions_of(found.group) if each.id != found.id]
    return rising_where(season, found, others, groups_week(found.group_id, season.week))


def _closures(request: HttpRequest, region_id: UUID, today: date) -> list[str]:
    """When the region is closed to visits, for the group's own people; a guest visits nobody."""
    if not own_regions_of(request.user).filter(id=region_id).exists():  # type: ignore[arg-type]
        return []
    return [closure_sentence(each, today) for each in closures_ahead_of_region(region_id, today)]


def open_region(request: HttpRequest, region_id: UUID) -> Any:
    """A region by its id, for whoever may read its reports. Raises Missing."""
    return one_of(regions_open_to(request.user), region_id)  # type: ignore[arg-type]  # signed in


def language_asked(request: HttpRequest) -> str:
    """The language that is asked for beside the paper, or else the page's own."""
    asked = request.GET.get("language", "")
    return asked if asked in dict(settings.LANGUAGES) else translation.get_language() or settings.LANGUAGE_CODE
