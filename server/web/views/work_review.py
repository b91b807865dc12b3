"""What was done in a season, kind by kind, and what became of the counts after it."""

from datetime import date
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from alerts.wording.work_review import review_in_words
from farms.access import Need, one_of
from farms.errors import Missing
from farms.selectors import facilities_of, seasons_of
from monitoring.selectors.work_review import review_of_works
from server.web.doors import Visit, farm_page


@farm_page(Need.READ)
@require_safe
def work_review(request: HttpRequest, visit: Visit) -> HttpResponse:
    seasons = list(seasons_of(visit.farm))
    chosen = _season(request, visit, seasons)
    kinds: Any = ()
    if chosen is not None:
        last = min(chosen.closes_on or date.max, visit.today)
        review = review_of_works(visit.farm, chosen.opens_on, last, on=visit.today)
        kinds = review_in_words(review, {place.id: place for place in facilities_of(visit.farm)})
    context = {"visit": visit, "seasons": seasons, "chosen": chosen, "kinds": kinds}
    return render(request, "web/work_review.html", context)


def _season(request: HttpRequest, visit: Visit, seasons: list[Any]) -> Any:
    """The season asked for, else the newest that has begun."""
    asked = request.GET.get("season", "")
    if asked:
        return one_of(seasons_of(visit.farm), _as_id(asked))
    return next((season for season in seasons if season.opens_on <= visit.today), None)


def _as_id(text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError:
        raise Missing() from None
