"""The audit against hand-made weeks: what it must see, and what it must not take for a breach."""

import numpy as np
import pytest

from monitoring.analysis.disclosure import before_rounding, release, rounded
from monitoring.analysis.disclosure_audit import LOG_RATIOS, Statement, Week

EVEN = np.linspace(60.0, 140.0, 12)


def everybody(values):
    return np.ones(len(values), bool)


def all_but(values, *left_out):
    members = everybody(values)
    members[list(left_out)] = False
    return members


def mean_of(values, members):
    return Statement(members, mean=before_rounding(rounded(float(values[members].mean()))))


def test_a_mean_of_twelve_even_farms_bounds_nobody():
    assert Week(EVEN, [mean_of(EVEN, everybody(EVEN))]).breaches() == []


def test_nothing_published_bounds_nobody():
    assert Week(EVEN, []).breaches() == []
    assert Week(np.zeros(0), []).breaches() == []


@pytest.mark.parametrize("left", [1, 2, 3])
def test_a_mean_over_so_few_that_two_know_all_but_one_is_a_breach(left):
    values = EVEN[:left]
    assert Week(values, [mean_of(values, everybody(values))]).breaches()


def test_two_means_that_differ_by_one_farm_tell_it_though_each_alone_is_safe():
    both = [Statement(members, mean=(values.mean() - 1e-3, values.mean() + 1e-3))
            for members in (everybody(EVEN), all_but(EVEN, 11)) for values in (EVEN[members],)]  # fmt: skip
    assert not any(Week(EVEN, [each]).breaches() for each in both)
    assert 11 in {breach.target for breach in Week(EVEN, both).breaches() if breach.by}


@pytest.mark.parametrize("left_out", [1, 9])
def test_so_few_between_two_statements_are_a_breach_though_rounding_hides_them(left_out):
    values = np.linspace(60.0, 140.0, 40)
    part = np.arange(40) >= left_out
    assert Week(values, [mean_of(values, everybody(values)), mean_of(values, part)]).breaches()


def test_a_region_and_its_parts_of_ten_each_are_none():
    values = np.linspace(60.0, 140.0, 20)
    part = np.arange(20) % 2 == 0
    told = [mean_of(values, members) for members in (everybody(values), part, ~part)]
    assert Week(values, told).breaches() == []


def test_all_zero_is_told_by_a_zero_mean():
    assert Week(np.zeros(12), [Statement(everybody(EVEN), mean=(0.0, 0.0))]).breaches()


def test_the_natural_end_of_a_count_tells_nothing():
    values = np.array([1.0, *[100.0] * 6, *[200.0] * 5])
    assert Week(values, [mean_of(values, everybody(values))]).breaches() == []


def test_a_watcher_who_sees_all_but_one_breaks_what_no_pair_breaks():
    week = [mean_of(EVEN, everybody(EVEN))]
    assert [breach.target for breach in Week(EVEN, week, [all_but(EVEN, 4)]).breaches()] == [4]
    assert Week(EVEN, week, [everybody(EVEN)]).breaches() == []


def test_a_figure_that_does_not_follow_from_the_frozen_values_is_untrue():
    assert not Week(EVEN, [mean_of(EVEN, everybody(EVEN))]).untrue()
    late = np.array([*EVEN[:-1], 400.0])
    assert Week(EVEN, [mean_of(late, everybody(EVEN))]).untrue()


def test_a_share_of_other_farms_than_those_over_the_level_is_untrue():
    of = Statement(everybody(EVEN), mean=(90.0, 110.0), level=100.0, over=EVEN > 100)
    assert not Week(EVEN, [of]).untrue()
    assert Week(EVEN[::-1].copy(), [of]).untrue()


def test_the_level_itself_may_lie_on_either_side():
    values = np.array([*[50.0] * 6, *[100.0] * 6])
    for over in (values > 100, values >= 100):
        assert not Week(values, [Statement(everybody(values), level=100.0, over=over)]).untrue()


def test_a_farm_far_below_its_normal_stays_within_what_log_ratios_can_be():
    """None left of fifteen hundred: beyond the thousandfold that the audit once took for the end of all ratios."""
    ratios = np.array([np.log(1 / 1501), *np.linspace(-0.5, 0.5, 11)])
    low, high = before_rounding(rounded(float(np.exp(ratios.mean()))))
    week = Week(ratios, [Statement(everybody(ratios), mean=(np.log(low), np.log(high)))], scale=LOG_RATIOS)
    assert week.breaches() == []


def test_log_ratios_know_the_pairs_that_lie_lowest_too():
    ratios = np.array([-1.0, -0.9, *np.linspace(0, 1, 9)])
    week = Week(ratios, [Statement(everybody(ratios), mean=(ratios.mean(), ratios.mean()))], scale=LOG_RATIOS)
    assert (0, 1) in week.strongest_pairs()


class TestEqualValues:
    """Equal values are told the same third, wherever sorting happened to put them."""

    VALUES = np.array([10.0, 20, 20, 20, 20, 20, 20, 90, 100, 110, 120, 130])

    def test_who_knows_counts_where_they_were_told(self):
        statement = Statement(everybody(self.VALUES), thirds=True)
        told = statement.told_third(self.VALUES)
        assert told.tolist() == [0, 1, 1, 1, 1, 1, 1, 1, 2, 2, 2, 2]
        for one in range(12):
            known = np.arange(12) == one
            third = statement.third(self.VALUES, known)
            assert third[one] == told[one]
            assert np.bincount(third).tolist() == [4, 4, 4]

    def test_more_of_them_than_the_third_holds_stay_on_both_sides_of_the_border(self):
        statement = Statement(everybody(self.VALUES), thirds=True)
        known = self.VALUES == 20
        assert np.bincount(statement.third(self.VALUES, known)[known]).tolist() == [3, 3]

    def test_their_order_changes_nothing(self):
        cell = release(self.VALUES, 100, at_least=False)
        for order in (np.arange(12), np.arange(12)[::-1], np.random.default_rng(3).permutation(12)):
            values = self.VALUES[order]
            told = Statement(everybody(values), before_rounding(cell.mean), None, thirds=True)
            week = Week(values, [told])
            low, high = np.flatnonzero(values == 20)[:2], np.flatnonzero(values == 130)
            assert week.slack((int(low[0]), int(high[0]))) == pytest.approx(week.slack((int(low[1]), int(high[0]))))
            assert week.breaches() == []

    def test_both_on_either_side_of_a_border_are_a_pair_to_try(self):
        values = np.array([40.0, 50, 70, 70, 80, 100, 100, 120, 130, 130])
        week = Week(values, [Statement(everybody(values), mean=(88.5, 89.5), thirds=True)])
        assert (2, 3) in week.strongest_pairs()
