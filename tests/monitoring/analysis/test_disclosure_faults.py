"""Faults that a job could have, seeded into simulated weeks: the gate or the audit must catch each one.

What the faulty job publishes is handed to the audit as it is, past the gate; whether the gate would have stopped it is
counted apart. And weeks without a fault must come out.
"""

from collections import Counter

import numpy as np
import pytest

from monitoring.analysis.disclosure import before_rounding, dominance_unsafe, release, rounded
from monitoring.analysis.disclosure_audit import Statement, Week
from monitoring.analysis.simulated_regions import LEVELS, RegionSeason, simulate_season
from tests.monitoring.analysis.published import statement_of, week_of


def weeks_of(rng, size, method="card", **region):
    """Every week of a season in which all farms of the cohort count: its values, level and comparison."""
    season = simulate_season(rng, RegionSeason(missing=0.0, changing=0.0, **region), size, method)
    return [(season.means[:, week], season.level, season.at_least) for week in range(season.means.shape[1])]


def usual_week(rng):
    """A week at the season's height of a region of 20 to 60."""
    return weeks_of(rng, int(rng.integers(20, 61)))[int(rng.integers(8, 18))][0]


def told(values, members=None):
    """The mean as reports tell it, rounded to two digits."""
    members = np.ones(values.size, bool) if members is None else members
    return Statement(members, mean=before_rounding(rounded(float(values[members].mean()))))


def caught_by_gate(values):
    return release(values, LEVELS["card"], at_least=False).disclosure != "numbers"


def caught_by_audit(values, statements):
    week = Week(values, statements)
    return week.untrue() or bool(week.breaches())


def cohort_less(few):
    def fault(rng):
        values = usual_week(rng)
        left = np.ones(values.size, bool)
        left[rng.choice(values.size, few, replace=False)] = False
        return False, caught_by_audit(values, [told(values), told(values, left)])

    return fault


def a_cell_of_three(rng):
    values = rng.choice(usual_week(rng), 3, replace=False)
    return caught_by_gate(values), caught_by_audit(values, [told(values)])


def a_dominating_farm(rng):
    """One holds from half of the total to nearly all of it."""
    values = usual_week(rng)
    values[0] = values[1:].sum() * np.exp(rng.uniform(0, 3))
    return caught_by_gate(values), caught_by_audit(values, [told(values)])


def a_nested_remainder(rng):
    """The whole and one part are told, and a small part is not: it is what remains."""
    values = usual_week(rng)
    part = np.arange(values.size) >= int(rng.integers(1, 10))
    return False, caught_by_audit(values, [told(values), told(values, part)])


def a_late_correction(rng):
    """The report is made anew after one farm's value changed: what was frozen no longer gives the figure."""
    values = usual_week(rng)
    while True:
        late = values.copy()
        late[rng.integers(values.size)] *= np.exp(rng.choice([-1, 1]) * rng.uniform(0.5, 3))
        if rounded(float(late.mean())) != rounded(float(values.mean())):  # else nothing leaks
            return False, caught_by_audit(values, [told(values), told(late)])


FAULTS = {
    "the cohort less one": cohort_less(1),
    "the cohort less two": cohort_less(2),
    "a cell of three": a_cell_of_three,
    "a dominating farm": a_dominating_farm,
    "a nested remainder": a_nested_remainder,
    "a late correction": a_late_correction,
}


@pytest.mark.parametrize("times", [15, pytest.param(100, marks=pytest.mark.full)])
@pytest.mark.parametrize("name", FAULTS)
def test_a_seeded_fault_is_caught_every_time(name, times, record_property):
    rng = np.random.default_rng(100)
    caught: Counter[str] = Counter()
    for _ in range(times):
        gate, audit = FAULTS[name](rng)
        caught.update(gate=gate, audit=audit, either=gate or audit)
    record_property(f"asked of {times} faults, {name}: caught by the gate", caught["gate"])
    record_property(f"asked of {times} faults, {name}: caught by the audit", caught["audit"])
    assert caught["either"] == times


def test_a_fault_that_leaks_to_the_eye_is_caught_without_counting_who_remains():
    """Two exact means over 21 farms and over 20 of them: the difference is the farm's own value."""
    rng = np.random.default_rng(101)
    for _ in range(15):
        values = usual_week(rng)[:21]
        left = np.arange(values.size) > 0
        exact = [Statement(of, mean=(values[of].mean(), values[of].mean())) for of in (left | True, left)]
        bounded = [breach for breach in Week(values, exact).breaches() if breach.by and breach.target == 0]
        assert bounded


def blocked(size, seasons, *, dominated):
    """Of the weeks without a fault, how many gate or audit hold back; with those that a farm dominates, or without."""
    counts: Counter[str] = Counter()
    for number in range(seasons):
        for method in LEVELS:
            rng = np.random.default_rng([102, size, number])
            for values, level, at_least in weeks_of(rng, size, method)[number % 2 :: 2]:
                if dominated or not dominance_unsafe(values, 1, 25):
                    counts["weeks"] += 1
                    counts["held"] += _is_held(values, level, at_least)
    return counts["held"] / counts["weeks"], counts["weeks"]


def _is_held(values, level, at_least):
    cell = release(values, level, at_least=at_least)
    week = week_of(cell, values, level, at_least=at_least)
    return cell.disclosure != "numbers" or week.untrue() or bool(week.breaches())


@pytest.mark.parametrize("seasons", [1, pytest.param(10, marks=pytest.mark.full)])
def test_of_weeks_without_a_fault_at_most_two_in_a_hundred_are_held_back(seasons, record_property):
    """Groups of twenty or more, no farm with a quarter of the total: such a one is a fault above."""
    shares = [blocked(size, seasons, dominated=False) for size in (20, 30, 60)]
    held = sum(share * weeks for share, weeks in shares)
    weeks = sum(weeks for _share, weeks in shares)
    record_property(f"asked in {seasons} clean seasons: weeks", weeks)
    record_property(f"asked in {seasons} clean seasons: weeks held back", round(held))
    assert held / weeks <= 0.02


@pytest.mark.parametrize("weeks", [3, pytest.param(100, marks=pytest.mark.full)])
def test_a_split_whose_parts_are_told_comes_out(weeks):
    rng = np.random.default_rng(103)
    held = 0
    for _ in range(weeks):
        values = weeks_of(rng, 48)[12][0]
        part = np.arange(48) % 2 == 0
        cells = [(of, release(values[of], 100.0, at_least=False)) for of in (part, ~part)]
        if all(cell.disclosure == "numbers" for _of, cell in cells):
            week = Week(values, [told(values), *(statement_of(cell, values, 100.0, members=of) for of, cell in cells)])
            held += bool(week.breaches()) or week.untrue()
    assert held == 0
