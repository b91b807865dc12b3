"""What would tell: more weeks, more cards; checked against the intervals of farms that have them."""

import numpy as np
import pytest

from monitoring.analysis.counts_needed import MOST_WEEKS, counts_needed
from monitoring.analysis.work_effect import work_effects
from server.calibrate.work_effect import Cell, _simulated

NONE = np.nan


def needed(noise, before=4, after=2, change=-50, factor=NONE, degrees=0):
    found = counts_needed(
        np.array([noise], float), np.array([before]), np.array([after]), np.log1p(np.array([change]) / 100),
        np.array([factor], float), np.array([degrees]),
    )  # fmt: skip
    return int(found.weeks_more[0]), int(found.times[0])


def test_a_large_change_is_told_sooner_than_a_small_one():
    assert needed([0.03] * 4, change=-80, after=0)[0] == 2
    assert needed([0.03] * 4, change=-60, after=1)[0] in (1, 2, 3)
    assert needed([0.03] * 4, change=-5) == (0, 0)
    assert needed([0.03] * 4, change=0) == (0, 0)


def test_a_rise_needs_what_the_fall_of_the_same_ratio_does():
    assert needed([0.05] * 3, change=-60) == needed([0.05] * 3, change=150)


def test_what_was_not_counted_before_can_not_be_made_good():
    weeks, times = needed([0.02] * 4, before=1, change=-80)
    assert (weeks, times) == (0, 1)


def test_more_cards_do_what_more_weeks_can_not():
    assert needed([0.2] * 4, change=-60)[0] == 0
    assert needed([0.2] * 4, change=-60)[1] in (2, 3, 4)


def test_a_farm_whose_weeks_scatter_more_needs_more():
    calm, wild = (needed([0.12] * 4, factor=factor, degrees=20)[1] for factor in (0.5, 3.0))
    assert 0 < calm < (wild or 9)


def test_each_work_by_itself():
    noise = np.array([[0.03, 0.03, NONE], [0.2, NONE, NONE]])
    two = np.array([2, 2])
    both = counts_needed(noise, 2 * two, two, np.log([0.3, 0.5]), np.array([NONE, 2.0]), np.array([0, 4]))
    assert (int(both.weeks_more[0]), int(both.times[0])) == needed([0.03, 0.03], change=-70)
    assert (int(both.weeks_more[1]), int(both.times[1])) == needed([0.2], factor=2.0, degrees=4)


def test_what_is_said_to_tell_tells_in_about_four_cases_of_five():
    """Simulated farms with just so many cards and weeks as are called enough, and the least change they are for."""
    cell = Cell(8, 24, MOST_WEEKS, MOST_WEEKS, own=0.1, own_correlation=0.4, places=4, left=0.45)
    counts, treated, _usual = _simulated(np.random.default_rng(5), cell, 400)
    place = np.broadcast_to(np.maximum(cell.place - 1, 0), treated.shape)
    found = work_effects(counts, np.full(counts.shape, 7.0), treated, cell.weeks, place)
    told = found.interval().high < 1
    changes = [-change for change in range(20, 90) if needed([np.nanmean(found.noise)] * 4, change=-change)[1] == 1]
    least = max(changes)
    assert -75 < least < -40
    assert np.mean(told) == pytest.approx(0.8, abs=0.2)


def test_what_is_wrong_is_refused_by_its_name():
    with pytest.raises(ValueError, match=r"^noise must not be negative"):
        needed([-0.1, 0.1])
    with pytest.raises(ValueError, match=r"^before must have the shape"):
        counts_needed(np.ones((1, 2)), np.ones(2, int), np.ones(1, int), np.ones(1), np.ones(1), np.ones(1, int))
