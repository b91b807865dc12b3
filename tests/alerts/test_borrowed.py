"""What results borrow from the group: fitted once a quarter, of 30 holdings or more, rounded, and then fixed."""

from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from threading import Barrier
from typing import Any

import numpy as np
import pytest
from django.db import ProgrammingError, connection, transaction

from alerts.checks import borrowed as fitting
from alerts.checks.borrowed import borrowed_of, fix_borrowed
from alerts.checks.group_week import judge_late_readings
from alerts.models import Assessment, BorrowedFigures
from alerts.selectors.borrowed import figures_of_group, figures_of_results, k_of_legs
from farms.models import Farm, Group, Region, User
from monitoring.analysis.simulated_farms import simulate_farms
from monitoring.models import Station
from tests.alerts.large_group import (
    BEFORE,
    FIRST_OF_QUARTER,
    LEG_K,
    NETWORK,
    count_cards,
    count_legs,
    count_weeks,
    make_group_of,
    make_places,
)
from tests.alerts.scene import check, check_time, correct, count_week, monday, result
from tests.cast import acting, as_factory, as_role, as_worker_process

pytestmark = pytest.mark.django_db
JULY = date(2026, 7, 1)
SCATTER = ("shock", "stays", "counting", "growth", "degrees")
FIGURES = (*SCATTER, *(f"list_{name}" for name in SCATTER), "weight_k", "taylor_a", "taylor_b", "leg_k")
CARDS = set(FIGURES) - {"leg_k"}


@pytest.fixture
def farms(region: Region) -> list[Farm]:
    """32 farms of 32 holdings."""
    return make_group_of(region, 32)


@pytest.fixture
def counted(farms: list[Farm]) -> list[list[Station]]:
    """Their cards, read over the twelve weeks before the quarter from July 1."""
    return count_cards(farms)


def fix(group: Group, week: date = FIRST_OF_QUARTER) -> dict[str, BorrowedFigures]:
    """Fit as the worker does, on the Monday after a week; the stored rows of its quarter by method."""
    with as_role("worker"):
        fix_borrowed(group, week, check_time(week))
    return stored(group, week)


def stored(group: Group, week: date = FIRST_OF_QUARTER) -> dict[str, Any]:
    with as_factory():
        return figures_of_group(group.id, week)


def values_of(row: BorrowedFigures) -> dict[str, float | None]:
    return {name: getattr(row, name) for name in FIGURES}


def test_figures_are_stored_once_a_method_of_the_quarter(group: Group, counted: list[list[Station]]):
    rows = fix(group)
    assert {(row.quarter, row.version, row.name) for row in rows.values()} == {(JULY, 1, "2026-07-01/1")}
    assert (rows["card"].farms, rows["card"].holdings) == (32, 32)
    again = fix(group)
    assert {method: row.id for method, row in again.items()} == {method: row.id for method, row in rows.items()}
    with as_factory():
        assert BorrowedFigures.objects.count() == 3


def test_every_figure_has_two_digits_at_most(group: Group, farms: list[Farm], counted: list[list[Station]]):
    count_legs(farms)
    for row in (fix(group)[method] for method in ("card", "leg")):
        told = [value for value in values_of(row).values() if value is not None]
        assert len(told) >= 6
        assert told == [float(f"{value:.2g}") for value in told]


def test_the_figures_are_about_those_that_the_farms_were_drawn_with(group: Group, counted: list[list[Station]]):
    row = fix(group)["card"]
    # 32 farms say little: the truth within a good margin, and what is too wrong would show.
    assert row.shock == pytest.approx(NETWORK.shock, abs=0.12)
    assert row.weight_k == pytest.approx(NETWORK.k, abs=0.5)
    assert row.leg_k is None


def test_the_list_has_its_own_beside_the_week_that_all_farms_share(group: Group, farms: list[Farm]):
    rng = np.random.default_rng(5)
    drawn = simulate_farms(rng, NETWORK, 32, 12, np.tile(0.6 * rng.standard_normal(12), (32, 1)))
    count_weeks(make_places(farms, "card", NETWORK.stations), BEFORE, drawn.counts)
    row = fix(group)["card"]
    assert row.shock > row.list_shock + 0.15
    assert row.list_shock == pytest.approx(NETWORK.shock, abs=0.12)
    with as_factory():
        lent = borrowed_of(group.id, FIRST_OF_QUARTER)["card"]
    assert (lent.scatter.shock, lent.beside.shock) == (row.shock, row.list_shock)


def test_rounding_moves_the_law_little_where_the_counts_are(group: Group, counted: list[list[Station]]):
    row = fix(group)["card"]
    drawn = simulate_farms(np.random.default_rng(1), NETWORK, 32, 12, np.zeros(12)).counts
    mean, variance = drawn.mean(axis=1).ravel(), drawn.var(axis=1, ddof=1).ravel()
    middle = np.exp(np.log(mean).mean())
    # A line by numpy, with Duan's smearing (1983, J Am Stat Assoc 78:605): what is stored, before rounding.
    b, log_a = np.polyfit(np.log(mean), np.log(variance), 1)
    smearing = np.exp(np.log(variance) - log_a - b * np.log(mean)).mean()
    assert row.taylor_b == float(f"{b:.2g}")
    assert row.taylor_a * middle**row.taylor_b == pytest.approx(np.exp(log_a) * smearing * middle**b, rel=0.05)


def test_the_k_of_leg_counts_is_that_of_the_animals(group: Group, farms: list[Farm]):
    count_legs(farms)
    row = fix(group)["leg"]
    assert row.leg_k == pytest.approx(LEG_K, rel=0.1)


# At least 30 holdings: the person's own number (issue 3, part 10).
@pytest.mark.parametrize(("number", "holdings", "told"), [(30, 30, CARDS), (29, 29, set()), (33, 29, set())])
def test_from_thirty_holdings_on_there_are_figures_and_below_there_is_none(
    group: Group, region: Region, number: int, holdings: int, told: set[str]
):
    count_cards(make_group_of(region, number, holdings=holdings))
    row = fix(group)["card"]
    assert (row.farms, row.holdings) == (number, holdings)
    assert {name for name, value in values_of(row).items() if value is not None} == told
    assert (row.scatter is not None) == bool(told)


def test_farms_that_counted_too_little_are_not_among_the_thirty(group: Group, region: Region):
    farms = make_group_of(region, 32)
    count_cards(farms[:29])
    # Three weeks are under the four that a farm needs for its weeks to say anything.
    count_cards(farms[29:], BEFORE[-3:], seed=3)
    row = fix(group)["card"]
    assert (row.farms, row.holdings, row.shock) == (29, 29, None)


def test_results_name_what_they_borrow(group: Group, farms: list[Farm], counted: list[list[Station]]):
    traps = make_places(farms[:1], "trap", 2)[0]
    week = FIRST_OF_QUARTER
    count_week(counted[0], week, [40] * 5)
    count_week(traps, week, [100, 120])
    check(group, week)
    assert result(farms[0], week).borrowed == "2026-07-01/1"
    assert result(farms[0], week, "trap").borrowed == "printed"
    with as_factory():
        lent = {one.method: one for one in figures_of_results(farms[0], week)}
    assert lent["card"].figures.holdings == 32
    assert (lent["trap"].name, lent["trap"].figures) == ("printed", None)


def test_with_too_few_holdings_results_say_printed(group: Group, northfield: Farm, cards: list[Station]):
    count_week(cards, monday(1), [40] * 5)
    check(group, monday(1))
    assert result(northfield, monday(1)).borrowed == "printed"
    row = stored(group, monday(1))["card"]
    assert (row.quarter, row.farms, row.holdings, row.shock) == (date(2026, 4, 1), 0, 0, None)


def test_a_group_without_farms_has_nothing_to_borrow_and_says_so(group: Group):
    assert {method: (row.farms, row.scatter) for method, row in fix(group).items()} == {
        "card": (0, None), "trap": (0, None), "leg": (0, None),
    }  # fmt: skip


def test_figures_stay_for_the_quarter_though_its_weeks_differ(
    group: Group, farms: list[Farm], counted: list[list[Station]]
):
    before = values_of(fix(group)["card"])
    later = [monday(number) for number in range(13, 17)]
    wild = np.random.default_rng(5).integers(0, 2000, (len(farms), 5, len(later))).astype(float)
    count_weeks(counted, later, wild)
    check(group, later[-1])
    assert values_of(stored(group)["card"]) == before
    with as_role("worker"):
        assert borrowed_of(group.id, later[-1])["card"].name == "2026-07-01/1"


def test_a_week_rests_on_the_quarter_that_holds_its_monday(group: Group, counted: list[list[Station]]):
    fix(group)
    with as_role("worker"):
        # The week of June 29 holds July 1, and is the last of the quarter before.
        names = [borrowed_of(group.id, week)["card"].name for week in (monday(12), monday(13), monday(25), monday(26))]
    assert names == ["printed", "2026-07-01/1", "2026-07-01/1", "printed"]


def columns(farm: Farm) -> list[dict[str, Any]]:
    """All that was concluded of a farm, without the row's own name and time."""
    with as_factory():
        rows = Assessment.objects.filter(farm=farm).order_by("week", "method", "facility_id", "revision")
        return [{name: row[name] for name in row if name not in ("id", "judged_at")} for row in rows.values()]


def test_no_other_farms_reading_of_the_quarter_changes_a_farms_results(
    group: Group, farms: list[Farm], counted: list[list[Station]]
):
    week = FIRST_OF_QUARTER
    seen = [count_week(own, week, [60, 50, 70, 40, 80]) for own in counted[:3]]
    check(group, week)
    before = columns(farms[0])
    assert [row["borrowed"] for row in before if row["p_rise"] is not None] == ["2026-07-01/1"]
    late = check_time(week) + timedelta(hours=2)
    for readings in seen[1:]:
        for reading in readings:
            correct(reading, 1900, received=late)
    with as_role("worker"):
        assert judge_late_readings(group, late + timedelta(days=1)) >= 2
    assert columns(farms[0]) == before
    assert len(columns(farms[1])) > len(before)
    # Judged for the first time beside such neighbours, the result is the same.
    with as_factory():
        Assessment.objects.all().delete()
        connection.cursor().execute("UPDATE alerts_checkrun SET state = 'due'")
    check(group, week)
    assert columns(farms[0]) == before


def test_a_correction_of_the_weeks_before_leaves_the_fixed_figures(group: Group, farms: list[Farm]):
    readings = count_weeks(
        make_places(farms, "card", 5), BEFORE, np.random.default_rng(4).poisson(50.0, (32, 5, 12)).astype(float)
    )
    before = values_of(fix(group)["card"])
    for reading in readings[:20]:
        correct(reading, 2000, received=check_time(FIRST_OF_QUARTER) + timedelta(hours=1))
    assert values_of(fix(group)["card"]) == before


def test_a_farm_that_can_not_be_read_lends_nothing_and_stops_nobody(
    group: Group, farms: list[Farm], counted: list[list[Station]], monkeypatch: pytest.MonkeyPatch, caplog: Any
):
    read = fitting.readings_for_check

    def refuse(ids: Any, *rest: Any) -> Any:
        if farms[7].id in ids:
            raise ValueError("exposure must be above zero")
        return read(ids, *rest)

    monkeypatch.setattr(fitting, "readings_for_check", refuse)
    row = fix(group)["card"]
    assert (row.farms, row.scatter is not None) == (31, True)
    assert f"Farm {farms[7].id} lends nothing" in caplog.text


def test_a_fit_that_fails_leaves_the_printed_figures_and_stops_nobody(
    group: Group, counted: list[list[Station]], monkeypatch: pytest.MonkeyPatch, caplog: Any
):
    def fail(*_: Any) -> None:
        raise np.linalg.LinAlgError("singular")

    monkeypatch.setattr(fitting, "fit_week_scatter", fail)
    row = fix(group)["card"]
    assert (row.holdings, row.scatter) == (32, None)
    assert "the printed ones hold" in caplog.text


def test_a_line_through_means_that_hardly_differ_is_no_law(group: Group, farms: list[Farm]):
    # One total on every farm and week but for a single speck on some, beside any scatter: no law has a slope of 400.
    even, uneven = [60.0] * 4 + [64.0], [10.0, 20.0, 61.0, 100.0, 114.0]
    counts = np.array([even if farm % 2 else uneven for farm in range(32)])
    count_weeks(make_places(farms, "card", 5), BEFORE, np.repeat(counts[:, :, None], 12, axis=2))
    row = fix(group)["card"]
    assert (row.taylor_a, row.taylor_b) == (None, None)


def test_leg_counts_are_planned_with_the_groups_k_from_the_day_after_it_was_fixed(group: Group, farms: list[Farm]):
    count_legs(farms)
    k = fix(group)["leg"].leg_k
    fixed_on = check_time(FIRST_OF_QUARTER).date()
    with as_factory():
        told = {days: k_of_legs(group, fixed_on + timedelta(days=days)) for days in (-1, 0, 1, 60)}
    # 1.4: our own inference from 47 % of legs without flies at a mean of 1 a leg (Lysyk and Schaalje 1992).
    assert [(told[days].k, told[days].source) for days in (-1, 0)] == [(1.4, "inferred")] * 2
    assert [(told[days].k, told[days].source) for days in (1, 60)] == [(k, "own")] * 2


def test_below_thirty_holdings_leg_counts_are_planned_with_what_is_inferred(group: Group, region: Region):
    count_legs(make_group_of(region, 29))
    fix(group)
    with as_factory():
        assert k_of_legs(group, FIRST_OF_QUARTER + timedelta(days=30)).source == "inferred"


def refused(role: str, sql: str) -> None:
    with as_role(role), pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
        connection.cursor().execute(sql)


@pytest.mark.parametrize("role", ["app", "worker"])
def test_the_figures_are_never_changed_nor_taken_away(group: Group, role: str):
    fix(group)
    refused(role, "UPDATE alerts_borrowedfigures SET shock = 1")
    refused(role, "DELETE FROM alerts_borrowedfigures")


def test_pages_read_the_figures_and_write_none(group: Group, anna: User):
    fix(group)
    with acting(anna):
        assert BorrowedFigures.objects.count() == 3
    refused("app", "INSERT INTO alerts_borrowedfigures SELECT * FROM alerts_borrowedfigures")


@pytest.mark.parametrize("role", ["cohort", "region", "eraser"])
def test_other_roles_do_not_read_them(group: Group, role: str):
    fix(group)
    refused(role, "SELECT * FROM alerts_borrowedfigures")


@pytest.mark.django_db(transaction=True, databases="__all__")
def test_two_workers_at_once_store_one_set(group: Group, region: Region):
    count_cards(make_group_of(region, 30))
    together = Barrier(2)

    def fix_as_worker(week: date) -> None:
        with as_worker_process():
            together.wait(timeout=30)
            fix_borrowed(group, week, check_time(week))

    with ThreadPoolExecutor(2) as workers:
        list(workers.map(fix_as_worker, (monday(13), monday(14))))
    with as_factory():
        assert BorrowedFigures.objects.count() == 3
        # All of one worker: figures of two fits are never mixed.
        assert BorrowedFigures.objects.values("fitted_at").distinct().count() == 1
