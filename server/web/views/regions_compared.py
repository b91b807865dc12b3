"""A group's regions side by side, for its coordinator: by name and never ranked, and no farm among them."""

from datetime import timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from alerts.selectors.region_seasons import groups_week
from alerts.selectors.rounds_told import newest_rounds_told
from alerts.wording import regions as words
from farms import clock
from farms.access import GroupRole, group_for, one_of
from farms.clock import quarter_of
from farms.selectors import regions_of
from farms.services import split_by_housing
from monitoring.methods import METHODS
from monitoring.regional.selectors import newest_published_week
from server.web.doors import signed_in

A_QUARTER = timedelta(days=92)


@signed_in
@require_safe
def regions_compared(request: HttpRequest, group_id: UUID) -> HttpResponse:
    """What was published of each region, and which rounds came, in numbers of five farms or more."""
    group = group_for(request.user, group_id, role=GroupRole.COORDINATOR)  # type: ignore[arg-type]  # signed in
    regions, week = list(regions_of(group)), newest_published_week(group_id)
    reports = groups_week(group_id, week) if week else {}
    rounds = newest_rounds_told(group_id)
    context = {
        "group": group,
        "week": week,
        "methods": [_of_method(code, regions, reports) for code in METHODS],
        "rounds": rounds[0].week if rounds else None,
        "lines": _rounds(regions, rounds),
        "regions": regions,
        "next_quarter": quarter_of(quarter_of(clock.now().date()) + A_QUARTER),
        "why_own_normal": words.why_own_normal(),
        "why_not_told": words.why_not_told(),
    }
    return render(request, "web/regions_compared.html", context)


@signed_in
@require_POST
def split_region(request: HttpRequest, group_id: UUID, region_id: UUID) -> HttpResponse:
    """Whether a region's reports are made by housing too, from the next quarter on."""
    group = group_for(request.user, group_id, role=GroupRole.COORDINATOR)  # type: ignore[arg-type]  # signed in
    region = split_by_housing(
        region=one_of(regions_of(group), region_id), split=request.POST.get("by_housing") == "yes"
    )
    told = (
        _("From the next quarter on {region} is reported by housing too, where enough farms allow it.")
        if region.split_by_housing
        else _("From the next quarter on {region} is reported as a whole only.")
    )
    messages.success(request, told.format(region=region.name))
    return redirect("regions_compared", group_id=group_id)


def _of_method(code: str, regions: list[Any], reports: Any) -> tuple[str, list[tuple[Any, Any, str]]]:
    """A method with each region, its report, and how it grows."""
    rows = [(region, reports.get((region.id, code))) for region in regions]
    return code, [(region, report, words.growth_words(report)) for region, report in rows]


def _rounds(regions: list[Any], told: Any) -> list[tuple[str, Any]]:
    """By place, its line; None where nothing may be told of it. The whole group last."""
    by_region = {line.region_id: line for line in told if line.of == "region"}
    together = {line.of: line for line in told if line.of != "region"}
    lines = [(region.name, by_region.get(region.id)) for region in regions]
    if "smaller" in together:
        lines.append((_("Smaller regions together"), together["smaller"]))
    return [*lines, (_("The whole group"), together.get("all"))] if told else []
