"""A farm's page: where it leads, what holds this very minute, and its body."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import get_language
from django.views.decorators.http import require_safe

from alerts.selectors import newest_week
from alerts.selectors.running import late_week
from farms.access import Need
from farms.offers import standing_offers
from monitoring.selectors import has_stations
from server.web.applications import withheld_told
from server.web.doors import Visit, farm_page
from server.web.due_work import due_told
from server.web.farm_body import body_of
from server.web.kept_out import kept_out_told
from server.web.views.charts import week_over


@farm_page(Need.READ)
@require_safe
def farm(request: HttpRequest, visit: Visit) -> HttpResponse:
    judged = newest_week(visit.farm)
    # Where a week was judged, something hangs; else it is asked.
    if visit.may["manage"] and judged is None and not has_stations(visit.farm):
        return redirect("start", farm_id=visit.farm.id)
    week = judged or week_over(visit)
    context = {
        "visit": visit,
        "week": week,
        "judged": judged is not None,
        "late": late_week(visit.farm.group_id, visit.now),
        "kept_out": kept_out_told(visit, languages=[get_language() or "en"]),
        "withheld": withheld_told(visit),
        "offers": standing_offers([visit.farm.id]),
        "due": due_told(visit),
        "body": body_of(visit, week),
    }
    return render(request, "web/farm.html", context)
