"""Loading the season week by week: each round recorded at its own time, each Monday judged by the real worker."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

from django.db import transaction
from django.utils import timezone

from farms import services as farm_services
from farms.ids import uuid7
from farms.models.access import TokenScope
from farms.tenancy.acting import act_for_nobody, act_for_user
from monitoring.rules.temperatures import table_of_days
from monitoring.services import (
    HungSent,
    ReadingSent,
    RoundSent,
    WorkDone,
    record_round,
    record_temperatures,
    record_work,
)
from server.demo import scenario
from server.demo.applications import apply_before, keep_organic, list_products
from server.demo.clockwork import check_week, count_what_runs, evening_of, monday_morning, set_clock, sign_day
from server.demo.farmyard import Cast, Yard, make_cast, make_yard
from server.demo.planned import PlannedSeason
from server.demo.season import Cell, Season
from server.demo.walks import note_walks

Say = Callable[[str], None]


@dataclass(frozen=True)
class Stage:
    """What the loader works with: where the clock lies, whom to tell, and how to see that the processes live."""

    clock: Path
    say: Say
    alive: Callable[[], None]


def load(stage: Stage, bring_newcomer: Callable[[Yard, Season], None]) -> Cast:
    """The whole season. `bring_newcomer` imports one more farm's file before the last Monday."""
    set_clock(stage.clock, evening_of(scenario.FIRST_HUNG))
    cast, yards, newcomer = _set_up(stage)
    season = Season.of([*yards, newcomer])
    _weather(cast, season, until=scenario.FIRST_HUNG)
    list_products(cast)
    keep_organic(yards)
    _first_visit([*yards, newcomer])
    planned = PlannedSeason(yards)
    mondays = _mondays()
    for number, monday in enumerate(mondays, start=1):
        _walk(yards, season, monday)
        apply_before(yards, monday)
        planned.note(monday)
        _weather(cast, season, until=monday)
        if monday == mondays[-1]:
            set_clock(stage.clock, evening_of(monday - timedelta(days=1)))
            bring_newcomer(newcomer, season)
        set_clock(stage.clock, monday_morning(monday))
        check_week(monday, alive=stage.alive)
        sign_day(monday, alive=stage.alive)
        stage.say(f"  week {number:2} of {len(mondays)}: rounds in, judged and mailed on {monday:%B %-d}")
    count_what_runs(monday_morning(mondays[-1]), alive=stage.alive)
    return cast


def _set_up(stage: Stage) -> tuple[Cast, list[Yard], Yard]:
    cast = make_cast()
    yards = [make_yard(cast, dairy) for dairy in scenario.dairies()]
    newcomer = make_yard(cast, scenario.NEWCOMER)
    stage.say(f"  {len(yards)} invented dairies in {len(cast.regions)} regions, and one that brings a file")
    return cast, yards, newcomer


def _mondays() -> list[date]:
    """The Mondays on which a week was judged: from the first after the first hanging to today's."""
    weeks = (scenario.TODAY - scenario.FIRST_HUNG).days // 7
    return [scenario.FIRST_HUNG + timedelta(days=7 * week) for week in range(1, weeks + 1)]


def _weather(cast: Cast, season: Season, *, until: date) -> None:
    """The temperatures of the days before one: nobody knows those to come."""
    with transaction.atomic():
        for name, region in cast.regions.items():
            days = table_of_days(day for day in season.temperatures(name) if day[0] < until)
            record_temperatures(region=region, table=days, now=evening_of(until))


def _first_visit(yards: Iterable[Yard]) -> None:
    """The first round only hangs."""
    day = scenario.FIRST_HUNG
    for yard in yards:
        if yard.dairy == scenario.NEWCOMER:
            continue
        hung = tuple(HungSent(uuid7(), station.id, day) for station, _ in yard.stations if station.method != "leg")
        _record(yard, RoundSent(uuid7(), day, "form", hung=hung, counted_by=yard.counted_by))


def _walk(yards: Iterable[Yard], season: Season, monday: date) -> None:
    """The rounds and the work of the week that ends before a Monday."""
    for yard in yards:
        day = season.round_day(yard, monday)
        if day is None:
            continue
        cells = season.cells(yard, day)
        readings = tuple(_reading(yard, cell) for cell in cells)
        hung = tuple(HungSent(uuid7(), cell.station_id, day) for cell in cells if cell.hung_on is not None)
        _record(yard, RoundSent(uuid7(), day, "form", readings=readings, hung=hung, counted_by=yard.counted_by))
        _note_work(yard, monday)
        note_walks(yard, monday)


def _reading(yard: Yard, cell: Cell) -> ReadingSent:
    return ReadingSent(
        id=uuid7(),
        station_id=cell.station_id,
        count=cell.count,
        reason=cell.reason,
        fraction=Decimal(str(cell.fraction)),
        how=cell.how,
        animals=cell.animals,
    )


def _record(yard: Yard, sent: RoundSent) -> None:
    with transaction.atomic():
        act_for_user(yard.owner.id)
        record_round(farm=yard.farm, sent=sent, actor=yard.actor(), now=evening_of(sent.walked_on))


def _note_work(yard: Yard, monday: date) -> None:
    """What was done in the week before a Monday: clean-outs where cards rose, and what else is noted."""
    trouble, buildings = yard.dairy.trouble, list(yard.buildings.values())
    done = [WorkDone(kind="clean_out", done_on=day, facility=buildings[0], thorough=True) for day in trouble.cleaned_on]
    done += [
        WorkDone(kind=kind, done_on=day, facility=None if place is None else buildings[place])
        for kind, day, place in trouble.noted
    ]
    for work in sorted(done, key=lambda each: each.done_on):
        if monday - timedelta(days=7) <= work.done_on < monday:
            with transaction.atomic():
                act_for_user(yard.owner.id)
                record_work(farm=yard.farm, work=work, actor=yard.actor(), now=evening_of(work.done_on))


def program_key(yard: Yard) -> str:
    """A token for the program that sends the newcomer's file; its times are real ones, not the demo's."""
    now = timezone.now()
    with transaction.atomic():
        act_for_user(yard.owner.id)
        _, key = farm_services.make_token(
            farm=yard.farm, name="Season from a spreadsheet", scope=TokenScope.WRITE, by=yard.owner,
            expires_at=now + timedelta(days=365), now=now,
        )  # fmt: skip
        act_for_nobody()
    return key
