"""What the charts of a farm's page show, as CSV files. Each is noted in the farm's log, as all that is taken out."""

from collections.abc import Iterable
from datetime import date

from django.http import HttpRequest, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.utils.http import content_disposition_header
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from alerts.selectors import newest_week
from alerts.selectors.own_past import SHOWN as WEEKS_SHOWN
from alerts.selectors.own_past import counts_with_past
from alerts.selectors.results import week_result
from alerts.selectors.season_weeks import WEEK
from alerts.selectors.station_weeks import seasons_of_stations
from farms.access import Need
from farms.clock import monday_of
from farms.errors import Missing
from farms.services import LogKind, note_in_log
from monitoring.selectors import stations_of, warmth_of_farm, works_of
from server.web.chart_files import season_csv, stations_csv, warmth_csv
from server.web.doors import Visit, farm_page
from server.web.season import KEPT, seasons_of_methods
from server.web.warmth import DAYS

CSV = "text/csv; charset=utf-8; header=present"


@farm_page(Need.READ)
@require_safe
def season_file(request: HttpRequest, visit: Visit, method: str) -> HttpResponseBase:
    week = shown_week(visit)
    results = {row.method: row for row in week_result(visit.farm, week) if row.facility_id is None}
    works = list(works_of(visit.farm, week - KEPT))
    found = [each for each in seasons_of_methods(visit.farm, week, results, works) if each.method == method]
    if not found:
        raise Missing()
    return _file(visit, f"{method}.csv", season_csv(found[0]))


@farm_page(Need.READ)
@require_safe
def stations_file(request: HttpRequest, visit: Visit) -> HttpResponseBase:
    stations = stations_of(visit.farm, visit.today)
    mondays, seasons = seasons_of_stations(stations, counts_with_past(visit.farm, shown_week(visit)), WEEKS_SHOWN)
    return _file(visit, "stations.csv", stations_csv(mondays, seasons))


@farm_page(Need.READ)
@require_safe
def temperatures_chart_file(request: HttpRequest, visit: Visit) -> HttpResponseBase:
    warmth = warmth_of_farm(visit.farm, visit.today - DAYS, visit.today)
    if warmth is None:
        raise Missing()
    return _file(visit, "temperatures.csv", warmth_csv(warmth))


def shown_week(visit: Visit) -> date:
    """The newest judged week; last week where none was judged yet."""
    return newest_week(visit.farm) or week_over(visit)


def week_over(visit: Visit) -> date:
    """The last week that is over on the farm."""
    return monday_of(visit.today) - WEEK


def _file(visit: Visit, name: str, pieces: Iterable[bytes]) -> HttpResponseBase:
    """The file under a name of the farm's own. Its rows were read already: what is streamed needs no database."""
    note_in_log(farm=visit.farm, kind=LogKind.EXPORT, actor=visit.actor, now=visit.now, about=f"charts/{name}")
    response = StreamingHttpResponse(pieces, content_type=CSV)
    file = f"{slugify(visit.farm.name)[:60] or 'farm'}-{name}"
    response.headers["Content-Disposition"] = str(content_disposition_header(as_attachment=True, filename=file))
    return response
