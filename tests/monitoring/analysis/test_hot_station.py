"""Which station stands out, and the question to ask there."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from monitoring.analysis.hot_station import hot_stations, question_on_the_spot
from tests.monitoring.analysis.farms import grid, owned_by_one

NONE = float("nan")


def hot(counts, week=-1):
    weeks = grid(counts)
    return hot_stations(weeks, owned_by_one(weeks), 1, week=week % weeks.rate.shape[1])


def test_cards_4_and_7_hold_more_than_half_the_specks():
    result = hot([[10], [12], [8], [60], [9], [11], [70]])
    assert result.holders(0).tolist() == [6, 3]
    assert result.top[0] == 6
    assert result.share_held[0] == pytest.approx(130 / 180)
    assert result.share[6] == pytest.approx(70 / 180)


def test_where_flies_are_evenly_spread_none_stands_out():
    result = hot([[20], [20], [20], [20], [20]])
    assert result.holders(0).size == 0
    assert result.share_held[0] == 0
    assert result.at_top.all()


def test_exactly_half_is_not_more_than_half():
    # 50 of 100 is half; the next one, and its equal, are needed.
    assert hot([[50], [20], [20], [4], [3], [2], [1]]).holders(0).tolist() == [0, 1, 2]


def test_one_of_two_cards_does_not_stand_out():
    assert hot([[90], [10]]).holders(0).size == 0


def test_weeks_in_a_row_at_the_top_are_counted_back():
    result = hot([[50, 10, 40, 40, 40], [10, 50, 10, 10, 10]])
    assert result.weeks_at_top.tolist() == [3, 0]


def test_a_week_nobody_counted_is_passed_over_but_a_lost_card_ends_the_row():
    assert hot([[50, NONE, 40], [10, NONE, 10]]).weeks_at_top.tolist() == [2, 0]
    assert hot([[50, NONE, 40], [10, 10, 10]]).weeks_at_top.tolist() == [1, 0]


def test_in_a_tie_the_top_is_the_one_longest_there():
    result = hot([[10, 30], [40, 30]])
    assert result.at_top.tolist() == [True, True]
    assert result.top[0] == 1


def test_nothing_caught_and_nothing_counted_have_no_top():
    assert hot([[0], [0]]).top[0] == -1
    assert np.isnan(hot([[0], [0]]).share).all()
    assert hot([[NONE], [NONE]]).top[0] == -1


def test_a_share_that_rests_on_at_least_says_so():
    weeks = grid([[300], [20], [10]], at_least=[1, 0, 0])
    assert hot_stations(weeks, np.zeros(3, int), 1, week=0).at_least[0]


def test_facilities_are_judged_apart():
    weeks = grid([[10], [90], [5], [5], [80], [10]])
    result = hot_stations(weeks, np.array([0, 0, 0, 1, 1, 1]), 2, week=0)
    assert result.top.tolist() == [1, 4]
    assert result.holders(1).tolist() == [4]


@given(arrays(float, (6, 4), elements=st.integers(0, 30).map(float) | st.just(NONE)), st.permutations(range(6)))
def test_the_order_of_stations_changes_nothing(counts, order):
    one, other = hot(counts), hot(counts[order])
    np.testing.assert_allclose(one.share[order], other.share, rtol=1e-12)
    assert (one.holds_most[order] == other.holds_most).all()
    assert (one.weeks_at_top[order] == other.weeks_at_top).all()


@given(arrays(float, (7, 1), elements=st.integers(0, 30).map(float) | st.just(NONE)))
def test_the_marked_hold_more_than_half_and_are_fewer_than_half(counts):
    result = hot(counts)
    if result.holds_most.any():
        assert result.share_held[0] > 0.5
        assert 2 * result.holds_most.sum() < (~np.isnan(counts)).sum()


def test_the_question_follows_the_siting():
    near = np.array(["milk", "feed", "water", "nothing", "nothing"])
    windy = np.array([False, True, False, True, False])
    assert question_on_the_spot(windy, near).tolist() == [
        "may_only_rest_here",
        "may_only_rest_here",
        "may_only_rest_here",
        "may_be_avoided",
        "look_here_first",
    ]


def test_an_unknown_siting_is_refused():
    with pytest.raises(ValueError, match=r"^near must be"):
        question_on_the_spot(np.array([False]), np.array(["manure"]))


def test_a_week_outside_the_grid_is_refused():
    weeks = grid([[1.0]])
    with pytest.raises(ValueError, match=r"^week must lie"):
        hot_stations(weeks, np.array([0]), 1, week=1)
