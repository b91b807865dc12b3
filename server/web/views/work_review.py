"""What was done in a season, kind by kind, and what became of the counts after it."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from alerts.wording.work_review import review_in_words
from farms.access import Need
from farms.errors import Missing
from farms.selectors import facilities_of, season_asked, seasons_of
from monitoring.selectors.work_review import review_of_season
from server.web.doors import Visit, farm_page


@farm_page(Need.READ)
@require_safe
def work_review(request: HttpRequest, visit: Visit) -> HttpResponse:
    seasons = list(seasons_of(visit.farm))
    chosen = season_asked(visit.farm, _asked(request), visit.today)
    kinds: Any = ()
    if chosen is not None:
        review = review_of_season(visit.farm, chosen, on=visit.today)
        kinds = review_in_words(review, {place.id: place for place in facilities_of(visit.farm)})
    context = {"visit": visit, "seasons": seasons, "chosen": chosen, "kinds": kinds}
    return render(request, "web/work_review.html", context)


def _asked(request: HttpRequest) -> UUID | None:
    text = request.GET.get("season", "")
    try:
        return UUID(text) if text else None
    except ValueError:
        raise Missing() from None
