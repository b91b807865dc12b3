"""A region's frozen reports, read through the role that can read these and nothing of a farm."""

from datetime import date, timedelta
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from alerts.wording.closures import closure_sentence
from farms import clock
from farms.access import one_of
from farms.clock import local_date, monday_of
from farms.closures import closures_ahead_of_region
from farms.selectors import group_roles_of, own_regions_of, regions_open_to
from monitoring.methods import METHODS
from monitoring.regional.selectors import reports_of_region
from server.web.doors import signed_in

SHOWN = timedelta(weeks=30)


@signed_in
@require_safe
def region(request: HttpRequest, region_id: UUID) -> HttpResponse:
    """For the people of the region's group and of the farms in it; everybody else finds nothing here."""
    found = one_of(regions_open_to(request.user), region_id)
    today = local_date(clock.now(), found.group.time_zone)
    reports = list(reports_of_region(found.id, since=monday_of(today) - SHOWN))
    by_method = [(method, [row for row in reversed(reports) if row.method == code]) for code, method in METHODS.items()]
    roles = [role.role for role in group_roles_of(request.user) if role.group_id == found.group_id]
    context = {
        "region": found,
        "methods": [(method, rows) for method, rows in by_method if rows],
        "coordinates": "coordinator" in roles,
        "closures": _closures(request, found.id, today),
    }
    return render(request, "web/region.html", context)


def _closures(request: HttpRequest, region_id: UUID, today: date) -> list[str]:
    """When the region is closed to visits, for the group's own people; a guest visits nobody."""
    if not own_regions_of(request.user).filter(id=region_id).exists():
        return []
    return [closure_sentence(each, today) for each in closures_ahead_of_region(region_id, today)]
