"""Whether a count of legs is clear enough to stop."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.analysis.leg_scatter import K_OF_LEGS
from monitoring.analysis.leg_verdict import least_total_at, leg_verdicts, stop_lines, stop_table

NONE = float("nan")


def told(flies, level=10.0, k=K_OF_LEGS):
    """One session: its verdict and after how many animals it stopped."""
    found = leg_verdicts(np.array([flies], float), np.array([level]), k=k)
    return found.verdict[0], found.stopped_at[0]


def test_it_speaks_from_the_tenth_animal_on():
    for each in (0, 100):
        assert told([each] * 9) == ("count_on", 0)
    assert told([0] * 10) == ("enough_below", 10)
    assert told([100] * 10) == ("enough_over", 10)


def test_on_the_line_it_is_enough_and_one_fly_off_it_is_not():
    # The table at a level of 10 and k 1.4: 66 and 122 flies on ten animals.
    assert told([6] * 9 + [12]) == ("enough_below", 10)
    assert told([6] * 9 + [13]) == ("count_on", 0)
    assert told([12] * 9 + [14]) == ("enough_over", 10)
    assert told([12] * 9 + [13]) == ("count_on", 0)


def test_after_15_animals_without_a_stop_it_is_not_clear():
    assert told([10] * 14) == ("count_on", 0)
    assert told([10] * 15) == ("not_clear", 0)
    assert told([10] * 40) == ("not_clear", 0)


def test_the_first_stop_decides_and_is_not_taken_back():
    # 66 on ten is enough; 15 more on the next two would not be, had it gone on.
    assert told([6] * 9 + [12] + [14] * 2) == ("enough_below", 10)
    # 90 flies: not low enough on ten to twelve animals, low enough on 13.
    assert told([9] * 10 + [0] * 4) == ("enough_below", 13)


def test_animals_after_the_stop_make_it_not_clear_only_where_they_turn_the_mean():
    assert told([6] * 9 + [12] + [50]) == ("not_clear", 10)
    assert told([20] * 10 + [0] * 10) == ("enough_over", 10)
    assert told([20] * 10 + [0] * 11) == ("not_clear", 10)


def test_a_zero_is_an_animal_and_a_missing_one_is_none():
    assert told([0] * 10)[0] == "enough_below"
    assert told([0] * 9 + [NONE]) == ("count_on", 0)
    assert told([0, NONE] * 10) == ("enough_below", 10)
    assert told([NONE] * 12) == ("none", 0)
    assert told([]) == ("none", 0)


def test_without_a_level_there_is_no_verdict():
    found = leg_verdicts(np.zeros((1, 12)), np.array([NONE]))
    assert (found.verdict[0], found.stopped_at[0], found.over[0], found.mean[0]) == ("none", 0, False, 0)


def test_the_plain_comparison_stands_beside_it():
    # 150 flies on 15 animals is 10.0 an animal, so reached.
    found = leg_verdicts(np.array([[10.0] * 15, [10.0] * 14 + [9.0]]), np.full(2, 10.0))
    assert found.over.tolist() == [True, False]
    np.testing.assert_allclose(found.mean, [10.0, 149 / 15])
    assert found.animals.tolist() == [15, 15]


def test_many_sessions_at_once_say_what_each_says_alone():
    rng = np.random.default_rng(1)
    flies = rng.poisson(rng.gamma(1.4, 8.0, (200, 18))).astype(float)
    flies[np.arange(18) >= rng.integers(0, 19, 200)[:, None]] = NONE
    levels = rng.choice([4.0, 10.0, 20.0, NONE], 200)
    found = leg_verdicts(flies, levels)
    alone = [told(row, level) for row, level in zip(flies, levels, strict=True)]
    assert list(zip(found.verdict, found.stopped_at, strict=True)) == alone
    assert set(found.verdict) == {"none", "count_on", "not_clear", "enough_below", "enough_over"}


FLIES = st.lists(st.integers(0, 60), min_size=1, max_size=15)


@given(FLIES, st.sampled_from([2.5, 4.0, 10.0, 20.0]))
def test_a_running_verdict_never_goes_back(flies, level):
    running = [told(flies[: n + 1], level)[0] for n in range(len(flies))]
    spoken = [word for word in running if word != "count_on"]
    assert running[: len(running) - len(spoken)] == ["count_on"] * (len(running) - len(spoken))
    assert not {"enough_below", "enough_over"} <= set(spoken)


@given(FLIES, st.integers(0, 14), st.integers(1, 200))
def test_more_flies_never_make_it_lower(flies, at, more):
    order = ["enough_below", "count_on", "not_clear", "enough_over"]
    higher = [each + more * (place == at % len(flies)) for place, each in enumerate(flies)]
    before, after = told(flies)[0], told(higher)[0]
    if "not_clear" not in (before, after):
        assert order.index(before) <= order.index(after)


@given(FLIES, st.randoms())
def test_ten_animals_may_come_in_any_order(flies, random):
    first, rest = flies[:10], flies[10:]
    shuffled = random.sample(first, len(first))
    assert told(first + rest) == told(shuffled + rest)


@given(st.floats(0.1, 200), st.floats(0.1, 50))
def test_the_table_never_falls_and_keeps_to_the_levels_own_side(level, k):
    table = stop_table(level, k)
    plain = least_total_at(level, table.animals)
    assert (np.diff(table.below) >= 0).all() and (np.diff(table.over) >= 0).all()
    assert (table.below < plain).all() and (table.over >= plain).all() and (table.below >= -1).all()


def test_the_table_of_many_levels_is_theirs_one_by_one():
    levels = np.array([2.5, 10.0, 20.0])
    table = stop_table(levels)
    for row, level in enumerate(levels):
        alone = stop_table(level)
        assert (table.below[row] == alone.below).all() and (table.over[row] == alone.over).all()


def test_at_a_low_level_no_total_of_ten_may_be_low_enough():
    assert stop_table(0.3).below[0] == -1
    assert told([0] * 10, level=0.3) == ("count_on", 0)


@pytest.mark.parametrize("level", [2.3, 2.5, 0.1, 9.99, 1.1])
@pytest.mark.parametrize("animals", [1, 3, 10, 15, 100])
def test_the_level_is_compared_as_it_was_typed(level, animals):
    exact = Fraction(str(level)) * animals
    assert least_total_at(level, animals) == -(-exact.numerator // exact.denominator)


@given(st.floats(0.5, 20), st.floats(1.1, 4), st.floats(0.2, 20), st.floats(1.1, 3))
def test_more_uneven_animals_need_wider_lines(low, times, k, more):
    narrow, wide = stop_lines(low, low * times, k * more), stop_lines(low, low * times, k)
    assert wide.over > narrow.over and wide.below < narrow.below
    assert low < narrow.slope < low * times


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: leg_verdicts(np.array([[-1.0]]), np.array([10.0])), "flies"),
        (lambda: leg_verdicts(np.array([[1.5]]), np.array([10.0])), "flies"),
        (lambda: leg_verdicts(np.array([[np.inf]]), np.array([10.0])), "flies"),
        (lambda: leg_verdicts(np.array([1.0]), np.array([10.0])), "flies"),
        (lambda: leg_verdicts(np.array([[1.0]]), np.array([0.0])), "level"),
        (lambda: leg_verdicts(np.array([[1.0]]), np.array([np.inf])), "level"),
        (lambda: leg_verdicts(np.array([[1.0]]), np.array([10.0, 10.0])), "level"),
        (lambda: leg_verdicts(np.array([[1.0]]), np.array([10.0]), k=0.0), "k must"),
        (lambda: stop_table(NONE), "level"),
        (lambda: stop_table(-1.0), "level"),
        (lambda: stop_lines(0.0, 1.0, 1.0), "low_mean"),
        (lambda: stop_lines(1.0, np.inf, 1.0), "low_mean"),
        (lambda: stop_lines(1.0, 1.0, 1.0), "high_mean"),
        (lambda: stop_lines(1.0, 2.0, NONE), "k must"),
        (lambda: stop_lines(1.0, 2.0, 1.0, alpha=0.0), "alpha and beta"),
        (lambda: stop_lines(1.0, 2.0, 1.0, alpha=0.5, beta=0.5), "alpha and beta"),
    ],
)
def test_bad_input_is_refused_by_name(call, named):
    with pytest.raises(ValueError, match=f"^{named}"):
        call()
