"""The comparison with the action level, exact at the boundary (the trade's action guidelines; common practice)."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.analysis.action_level import compare_with_level
from monitoring.analysis.farm_mean import weekly_means
from monitoring.analysis.rates import station_weeks
from tests.monitoring.analysis.farms import grid, owned_by_one, readings

NONE = float("nan")


def word(counts, level, comparison="more", days=7.0, per=7.0, **columns):
    weeks = grid(np.array(counts, float)[:, None], days, per=per, **columns)
    return compare_with_level(weekly_means(weeks, owned_by_one(weeks), 1), level, comparison)[0, 0]


def test_a_mean_of_100_specks_is_not_exceeded_and_101_is():
    assert word([100, 90, 110], 100) == "near"
    assert word([100, 91, 110], 100) == "over"


def test_a_mean_of_250_flies_is_not_exceeded():
    assert word([250, 200, 300, 249, 251], 250) == "near"
    assert word([250, 200, 300, 250, 251], 250) == "over"


def test_150_flies_on_15_animals_reach_10_per_animal():
    assert word([150], 10, "at_least", days=15, per=1) == "over"
    assert word([149], 10, "at_least", days=15, per=1) == "near"


def test_near_begins_at_two_thirds_of_the_level():
    assert word([100], 150) == "near"
    assert word([99], 150) == "below"
    # 66 and two thirds on a level of 100: three cards with 200 specks together.
    assert word([66, 67, 67], 100) == "near"
    assert word([66, 67, 66], 100) == "below"


def test_days_that_do_not_divide_do_not_flip_the_boundary():
    # Catches a day of 43/3, 41/3, 155/11, 153/11, 183/13, 181/13: none a finite decimal, and their mean is exactly 14.
    rows = [(i, 0, *row) for i, row in enumerate([(43, 3), (41, 3), (155, 11), (153, 11), (183, 13), (181, 13)])]
    weeks = station_weeks(readings(rows), n_stations=6, n_weeks=1)
    means = weekly_means(weeks, np.zeros(6, int), 1)
    assert compare_with_level(means, 98, "more")[0, 0] == "near"
    assert compare_with_level(means, 98, "at_least")[0, 0] == "over"


def test_a_third_of_a_card_is_a_third_at_the_boundary():
    assert word([25], 75, part=[0.3333], how=["part"]) == "near"
    assert word([25], 75, "at_least", part=[0.3333], how=["part"]) == "over"


@given(st.lists(st.tuples(st.integers(0, 400), st.integers(1, 30)), min_size=1, max_size=12))
def test_every_mean_is_equal_to_itself(rows):
    exact = sum((Fraction(7 * count, days) for count, days in rows), Fraction(0)) / len(rows)
    level = float(exact)
    if level == 0:
        return
    weeks = station_weeks(readings([(i, 0, *row) for i, row in enumerate(rows)]), n_stations=len(rows), n_weeks=1)
    means = weekly_means(weeks, np.zeros(len(rows), int), 1)
    typed = Fraction(str(level))
    assert (compare_with_level(means, level, "more")[0, 0] == "over") == (exact > typed)
    assert (compare_with_level(means, level, "at_least")[0, 0] == "over") == (exact >= typed)


@given(st.lists(st.integers(0, 400), min_size=1, max_size=40))
def test_whole_number_means_of_cards_in_any_number_are_right(counts):
    total = sum(counts)
    padded = [*counts, (-total) % (len(counts) + 1)]
    exact = sum(padded) // len(padded)
    if exact:
        assert word(padded, exact) == "near"
        assert word(padded, exact, "at_least") == "over"


def test_missing_and_unset_say_none_and_zero_says_below():
    assert word([NONE], 100) == "none"
    assert word([500], NONE) == "none"
    assert word([0, 0], 100) == "below"


def test_levels_and_comparisons_come_by_owner_and_week():
    weeks = grid([[100, 101], [10, 9]])
    means = weekly_means(weeks, np.array([0, 1]), 2)
    words = compare_with_level(means, np.array([100.0, 10.0]), np.array(["more", "at_least"]))
    assert words.tolist() == [["near", "over"], ["over", "near"]]
    by_week = compare_with_level(means, np.array([[200.0, 50.0], [NONE, 9.0]]), "more")
    assert by_week.tolist() == [["below", "over"], ["none", "near"]]


def test_a_decimal_level_is_meant_as_typed():
    # 0.1 flies an animal: 1 on 10 animals reaches it, though the float 0.1 is a little more than a tenth.
    assert word([1], 0.1, "at_least", days=10, per=1) == "over"


@pytest.mark.parametrize("level", [0.0, -5.0])
def test_a_level_that_is_not_above_zero_is_refused(level):
    with pytest.raises(ValueError, match=r"^level must be above zero"):
        word([5], level)


def test_another_comparison_is_refused():
    with pytest.raises(ValueError, match=r"^comparison must"):
        word([5], 100, "roughly")
