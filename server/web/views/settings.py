"""What can be set on a farm: the overview, shown by right."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.dates import WEEKDAYS
from django.views.decorators.http import require_safe

from alerts.selectors import mail_day_of, webhooks_of
from farms.access import Need
from farms.agreement import standing_of
from farms.closures import closure_of
from farms.erasures import farm_erasure_of
from farms.selectors import people_of, season_on, tokens_of
from monitoring.selectors import stations_of
from server.web.doors import Visit, farm_page


@farm_page(Need.MANAGE)
@require_safe
def settings(request: HttpRequest, visit: Visit) -> HttpResponse:
    live = [token for token in tokens_of(visit.farm) if token.is_live(visit.now)]
    context = {
        "visit": visit,
        "people": len(people_of(visit.farm)),
        "phones": sum(token.scope == "count" for token in live),
        "keys": sum(token.scope != "count" for token in live),
        "stations": len(stations_of(visit.farm)),
        "mail_day": WEEKDAYS[mail_day_of(visit.farm) - 1],
        "closure": closure_of(visit.farm, visit.today),
        "webhooks": sum(webhook.is_on for webhook in webhooks_of(visit.farm)),
        "agreement": standing_of(visit.farm, visit.today),
        "erasure": farm_erasure_of(visit.farm) if visit.may["own"] else None,
        "season": season_on(visit.farm, visit.today),
    }
    return render(request, "web/settings.html", context)
