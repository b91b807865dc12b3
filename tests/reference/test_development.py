"""The development clock against what was published and observed, and against the simulator and a plain integration."""

import numpy as np
import pytest
from scipy import integrate, optimize

from monitoring.analysis import simulated_flies
from monitoring.analysis.degree_days import by_sine
from monitoring.analysis.development import HOUSE_FLY, STABLE_FLY, flies_from_eggs, stage_days
from monitoring.analysis.normal_temperatures import DayTemperatures

FIRST = np.datetime64("2026-06-01")


def steady(temperature, n_days=1):
    return DayTemperatures.of(FIRST, np.full(n_days, float(temperature)), np.full(n_days, float(temperature)))


def days_by(line, temperature):
    """The days that one line gives at one temperature, without what is taken off or added for the range."""
    return 1 / line.warmth(np.array([float(temperature)]), np.array([float(temperature)]))[0]


def within(lines, temperature, days):
    taken = stage_days(lines, steady(temperature))
    return taken.shortest[0] <= days <= taken.longest[0]


# P: Lysyk and Axtell 1987, Can Entomol 119, house flies in manure.
@pytest.mark.parametrize(("temperature", "to_pupation", "to_adult"), [(16, 26.8, 43.1), (35, 5.2, 8.8)])
def test_house_flies_take_the_published_days_by_the_line_and_lie_in_the_range(temperature, to_pupation, to_adult):
    assert days_by(HOUSE_FLY.to_pupation[0], temperature) == pytest.approx(to_pupation, abs=1e-9)
    assert days_by(HOUSE_FLY.to_adult[0], temperature) == pytest.approx(to_adult, abs=1e-9)
    assert within(HOUSE_FLY.to_pupation, temperature, to_pupation)
    assert within(HOUSE_FLY.to_adult, temperature, to_adult)


def test_the_line_through_the_house_fly_points_is_our_own():
    """C: threshold 11.13 C and 210 degree-days; an interpolation, not to be printed as published."""
    phase = HOUSE_FLY.to_adult[0].phase
    assert phase.threshold == pytest.approx(11.13, abs=0.005)
    assert phase.degree_days == pytest.approx(210, abs=0.5)


# P: Hogsette, citing work of 1940: adults after 6 to 7 days at 27 to 32 C.
@pytest.mark.parametrize("temperature", [27, 28, 29, 30, 31, 32])
@pytest.mark.parametrize("days", [6, 6.5, 7])
def test_the_quick_house_flies_of_older_work_lie_in_the_range(temperature, days):
    assert days_by(HOUSE_FLY.to_adult[0], temperature) > 10  # where the published points alone give more
    assert within(HOUSE_FLY.to_adult, temperature, days)


def test_no_house_flies_above_38_degrees():
    """P: Lysyk and Axtell 1987: no adults above 38 C."""
    for temperature, why in ((37.5, ""), (38.5, "too_hot")):
        weather = steady(temperature, 60)
        assert flies_from_eggs(HOUSE_FLY, weather, FIRST + np.arange(1)).flies.why_no_earliest[0, 0] == why


def test_stable_flies_have_the_published_threshold_and_degree_days():
    """P: Gilles, David and Duvallet 2005, J Med Entomol 42: 12.2 C and 225 degree-days, egg to adult."""
    phase = STABLE_FLY.to_adult[0].phase
    assert (phase.threshold, phase.degree_days) == (12.2, 225)


# The line's days: C. What was observed: P, Gilles, David and Duvallet 2005.
@pytest.mark.parametrize(("temperature", "by_line", "observed"), [(15, 80.4, 71), (30, 12.64, 13)])
def test_stable_flies_by_the_line_and_as_observed_lie_in_the_range(temperature, by_line, observed):
    assert days_by(STABLE_FLY.to_adult[0], temperature) == pytest.approx(by_line, abs=0.05)
    assert days_by(STABLE_FLY.to_adult[1], temperature) == pytest.approx(observed, abs=1e-9)
    assert within(STABLE_FLY.to_adult, temperature, by_line)
    assert within(STABLE_FLY.to_adult, temperature, observed)


def test_the_stable_flys_range_is_widest_near_the_threshold():
    """P: the line is poor near the threshold, so the range must say so."""
    ratios = []
    for temperature in (30, 25, 20, 15):
        taken = stage_days(STABLE_FLY.to_adult, steady(temperature))
        ratios.append(taken.longest[0] / taken.shortest[0])
    print("longest over shortest at 30, 25, 20, 15 C:", np.round(ratios, 3))
    assert ratios[-1] == max(ratios)


def test_the_published_generation_of_14_to_27_days_at_20_to_25_degrees_meets_the_house_flys_range():
    """P: 14 to 27 days from generation to generation. M: about five of them until a female lays."""
    shortest, longest = (stage_days(HOUSE_FLY.to_adult, steady(each)) for each in (25, 20))
    assert shortest.shortest[0] + 5 <= 14 and longest.longest[0] + 5 >= 27


# The single-sine table of tests/reference/test_degree_days.py (P and C) goes straight into the clock's sums.
@pytest.mark.parametrize(("lowest", "highest"), [(15, 30), (5, 25), (5, 38)])
def test_the_clock_counts_the_degree_days_of_the_single_sine(lowest, highest):
    for line in (*HOUSE_FLY.to_adult, *STABLE_FLY.to_adult, *HOUSE_FLY.to_pupation, *STABLE_FLY.to_pupation):
        ours = line.warmth(np.array([float(lowest)]), np.array([float(highest)]))[0] * line.phase.degree_days
        assert ours == pytest.approx(float(by_sine(lowest, highest, line.phase.threshold, line.fastest)), abs=1e-12)


@pytest.mark.parametrize("kind", [HOUSE_FLY, STABLE_FLY], ids=lambda kind: kind.name)
def test_the_dates_are_those_of_a_plain_integration(kind):
    """Second method: SciPy's quadrature of each day's sine, clipped at both thresholds, and a root of the sum."""
    rng = np.random.default_rng(20260601)
    mean = 22 + 4 * np.sin(np.arange(60) / 9) + rng.standard_normal(60)
    half = rng.uniform(3, 9, 60)
    found = flies_from_eggs(kind, DayTemperatures.of(FIRST, mean - half, mean + half), FIRST + np.arange(1)).flies

    def day(number, line):
        low, high = line.phase.threshold, line.fastest
        warmth = lambda turn: np.clip(mean[number] + half[number] * np.cos(turn), low, high) - low  # noqa: E731
        corners = [
            np.arccos((each - mean[number]) / half[number])
            for each in (low, high)
            if abs(each - mean[number]) < half[number]
        ]
        return integrate.quad(warmth, 0, np.pi, points=sorted(corners) or None, limit=200)[0] / np.pi

    def done(line, begin, asked):
        total = np.cumsum([day(number, line) for number in range(begin, 60)])
        share = lambda at: np.interp(at, np.arange(1, total.size + 1), total) - asked * line.phase.degree_days  # noqa: E731
        return begin + int(np.ceil(optimize.brentq(share, 1, total.size))) - 1

    assert found.earliest[0, 0] == FIRST + min(done(line, 0, 0.9) for line in kind.to_adult)
    assert found.latest[0, 0] == FIRST + max(done(line, 1, 1.1) for line in kind.to_adult)


@pytest.mark.parametrize("name", ["HOUSE_FLY", "STABLE_FLY"])
@pytest.mark.parametrize("temperature", [18, 22, 26, 30])
def test_the_simulators_flies_emerge_within_the_dates(name, temperature):
    """The simulator (tests/reference/test_generation_times.py) knows the published lines only."""
    simulated, ours = getattr(simulated_flies, name), {"HOUSE_FLY": HOUSE_FLY, "STABLE_FLY": STABLE_FLY}[name]
    at = np.full((1, 90), float(temperature))
    nothing = simulated_flies.Places(np.ones((1, 90)), np.zeros((1, 90)), np.zeros((1, 90)))
    flies = simulated_flies.simulate_flies(simulated, at, at, nothing, arriving=0, eggs_at_first=1000)
    share = np.cumsum(flies.emerged[0]) / flies.emerged[0].sum()
    dated = flies_from_eggs(ours, DayTemperatures.of(FIRST, at, at), FIRST + np.arange(1)).flies
    assert dated.earliest[0, 0] <= FIRST + int(np.argmax(share > 0.01))
    assert FIRST + int(np.argmax(share > 0.99)) <= dated.latest[0, 0]
