"""The body of a farm's page: the week in words, building by building, the season in pictures, what is open, what was
done, what is planned. Written anew only where something changed that it tells of.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe

from alerts.selectors import histories_of
from alerts.selectors.farm_counts import FarmCounts
from alerts.selectors.farm_weeks import FarmWeek, weeks_of_farms
from alerts.selectors.own_past import SHOWN as WEEKS_SHOWN
from alerts.selectors.own_past import counts_with_past
from alerts.selectors.row_versions import FARM_TOLD
from alerts.selectors.sent_mails import digests_shown
from alerts.selectors.station_effects import by_station, effects_in
from alerts.selectors.station_weeks import seasons_of_stations
from alerts.selectors.work_effects import with_work_effects
from alerts.wording.closures import closure_sentence
from alerts.wording.development import no_temperatures_sentence
from farms.closures import holding, times_of_farms
from farms.row_versions import CHAIN, CLOSURES, FARM_ITSELF, NAMED, PLANNED, versions_of_farms
from farms.selectors import season_holding, seasons_of
from farms.visits import visit_rules_of, visits_ahead
from monitoring.analysis.farm_weeks import WINDOW_WEEKS
from monitoring.selectors import applications_done, last_round, readings_of, stations_of, warmth_of_farm, works_of
from monitoring.selectors.region_weeks import newest_report_beside
from monitoring.selectors.row_versions import FARM_COUNTED
from server.web.development import development_shown
from server.web.doors import Visit
from server.web.figures import season_sections
from server.web.kept_in_words import kept_in_words
from server.web.own_past import own_past_sections
from server.web.precision import known_of, own_test_sentences
from server.web.programmes import shown_works
from server.web.records import seasons_on_record
from server.web.results import building_lines, how_it_was_got, shares_of, told_of
from server.web.season import KEPT, SHOWN, MethodSeasons, seasons_of_methods
from server.web.stations_shown import StationsShown, stations_shown
from server.web.walks import open_lines
from server.web.warmth import DAYS, warmth_figure
from server.web.weeks_ahead import ahead_lines
from server.web.worst import worst_of

BODY = "web/includes/farm_body.html"
WEEK = timedelta(weeks=1)
WORKS_LISTED = 8
# What it tells of.
MADE_OF = (CHAIN, *FARM_ITSELF, *NAMED, *CLOSURES, *PLANNED, *FARM_COUNTED, *FARM_TOLD)


def body_of(visit: Visit, week: date) -> SafeString:
    """The body for a week (its Monday), in HTML. Its reader's role and days are part of what it is known by."""
    versions = versions_of_farms([visit.farm.id], MADE_OF)[visit.farm.id]
    reader = (type(visit.who).__name__, visit.who.id, visit.role.name)
    # A work on the whole farm stands beside published weeks of the region, which another role reads.
    published = newest_report_beside(visit.farm, week - SHOWN, visit.today)
    key = ("farm body", visit.farm.id, versions, published, reader, week, visit.today)
    return kept_in_words(key, lambda: _made(visit, week))


def _made(visit: Visit, week: date) -> SafeString:
    return mark_safe(render_to_string(BODY, content_of(visit, week)))  # noqa: S308 - a template's


def content_of(visit: Visit, week: date) -> dict[str, Any]:
    """What the body's template is given."""
    seen = with_work_effects(weeks_of_farms([visit.farm], week, visit.today))[0]
    counts, stations = counts_with_past(visit.farm, week), stations_of(visit.farm, visit.today)
    twelve_weeks = counts.of_last(WINDOW_WEEKS)
    seen = replace(seen, stations=by_station(effects_in(twelve_weeks, week)[visit.farm.id]))
    works = list(works_of(visit.farm, week - KEPT))
    seasons = seasons_of_methods(visit.farm, week, seen.farm_rows, works, counts.lent.values())
    on_record = list(seasons_of(visit.farm))
    return {
        "visit": visit,
        "judged": bool(seen.farm_rows),
        "told": told_of(seen),
        **how_got(seen, twelve_weeks),
        "buildings": building_lines(seen),
        "seasons": season_sections(visit.farm.id, seasons),
        "own_past": own_past_sections(visit.farm, week, seen.farm_rows, counts),
        "ahead": ahead_lines(seen),
        "development": development_shown(seen.development),
        "no_temperatures": no_temperatures_sentence(),
        "closed": seen.closed,
        "alerts": matters_of(seen),
        "works": shown_works(visit.farm, listed(works, week), visit.today, seen.facilities, WORKS_LISTED),
        "applied": applications_done([visit.farm.id], week - SHOWN, visit.today)[: -WORKS_LISTED - 1 : -1],
        "findings": open_lines(visit.farm, visit.today),
        "stations": station_lines(visit, seen, stations),
        "stations_shown": small_multiples(stations, counts, seasons),
        "warmth": warmth_figure(warmth_of_farm(visit.farm, visit.today - DAYS, visit.today)),
        "records": seasons_on_record(visit.farm, on_record, mails_of(visit)),
        "last": last_round(visit.farm),
        "season": season_holding(on_record, visit.today),
        "closures": closure_sentences(visit),
        "planned": visits_ahead(visit.farm, visit.today, visit.who),  # type: ignore[arg-type]
        "rules": visit_rules_of(visit.farm.group),
    }


def listed(works: Sequence[Any], week: date) -> list[Any]:
    """The works of the weeks that are shown."""
    return [work for work in works if work.done_on >= week - SHOWN]


def matters_of(seen: FarmWeek) -> list[tuple[Any, list[Any], bool]]:
    """What is open, each with its history and whether it waits."""
    history = histories_of(seen.alerts)
    return [(alert, history[alert.id], seen.waits(alert)) for alert in in_walking_order(seen)]


def in_walking_order(seen: FarmWeek) -> list[Any]:
    """The open alerts, the whole farm's first, then by facility in walking order; each with its facility."""
    order = {place: at for at, place in enumerate(seen.facilities)}
    for alert in seen.alerts:
        if alert.facility_id:
            alert.facility = seen.facilities[alert.facility_id]
    return sorted(
        seen.alerts,
        key=lambda alert: (order.get(alert.facility_id, -1), alert.method, alert.rule, alert.opened_week),
    )


def closure_sentences(visit: Visit) -> list[str]:
    """When the farm is closed to visits, now or ahead, and its region now."""
    times = times_of_farms([visit.farm])[visit.farm.id]
    ahead = [each for each in times if not each.whole_region and each.ends_after(visit.today)]
    now = holding(times, visit.today)
    ahead += [now] if now is not None and now.whole_region else []
    return [closure_sentence(each, visit.today) for each in ahead]


def how_got(seen: FarmWeek, counts: FarmCounts) -> dict[str, Any]:
    """How the figure of each method was got that was counted this week, and what is said of weeks and of rising."""
    rows = [row for row in seen.farm_rows.values() if row.mean is not None]
    if not rows:
        return {"got": [], "got_weeks": []}
    known = known_of(seen, counts)
    return {
        "got": [how_it_was_got(row, known.by_method.get(row.method, ())) for row in rows],
        "got_weeks": [*known.weeks, *own_test_sentences()],
    }


def small_multiples(
    stations: Sequence[Any], counts: FarmCounts, seasons: Sequence[MethodSeasons]
) -> StationsShown | None:
    """Each station with its season; None where the farm has none."""
    if not stations:
        return None
    levels = {each.method: each.rows[max(each.rows)].level for each in seasons}
    return stations_shown(*seasons_of_stations(stations, counts, WEEKS_SHOWN), levels)


def mails_of(visit: Visit) -> Any:
    """The weekly mails that the reader may see, as their own page lists them; None for who has no such page."""
    return digests_shown(visit.farm, visit.who, visit.role) if visit.may["manage"] else None  # type: ignore[arg-type]


def station_lines(visit: Visit, seen: FarmWeek, stations: Sequence[Any]) -> list[dict[str, Any]]:
    """Each station in walking order with its newest reading (None where there is none) and its share of the week."""
    newest: dict[UUID, Any] = {}
    for reading in readings_of(visit.farm).filter(taken_on__gte=visit.today - 12 * WEEK):
        newest.setdefault(reading.station_id, reading)
    shares, worst = shares_of(seen), worst_of(seen.stations)
    return [
        {
            "station": station,
            "reading": newest.get(station.id),
            "share": shares.get(str(station.id)),
            "worst": worst.get(station.id),
        }
        for station in stations
    ]
