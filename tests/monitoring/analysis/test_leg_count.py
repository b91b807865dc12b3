"""The mean of a leg count, an animal and a leg, and its interval."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.analysis.leg_count import leg_means, leg_means_of_sums
from monitoring.analysis.simulated_counts import draw_counts

NONE = float("nan")
TEN = [12.0, 3, 0, 7, 9, 15, 4, 6, 8, 5]


def test_the_mean_is_an_animals_and_a_quarter_of_it_a_legs():
    legs = leg_means([TEN])
    assert (legs.mean[0], legs.per_leg.mean[0], legs.animals[0], legs.reason[0]) == (6.9, 1.725, 10, "")
    assert legs.low[0] < 6.9 < legs.high[0]
    np.testing.assert_allclose([legs.per_leg.low, legs.per_leg.high], [legs.low / 4, legs.high / 4])


def test_an_animal_that_is_missing_is_none_and_one_without_flies_is_a_zero():
    short, padded, zeros = (leg_means([row]) for row in (TEN, [*TEN, NONE, NONE], [*TEN, 0, 0]))
    assert (padded.mean[0], padded.low[0], padded.high[0]) == (short.mean[0], short.low[0], short.high[0])
    assert zeros.animals[0] == 12 and zeros.mean[0] == pytest.approx(5.75)


def test_too_few_animals_have_a_mean_and_a_reason_for_no_more():
    legs = leg_means([[4.0, 6.0, NONE], [NONE, NONE, NONE], [4.0, 6.0, 2.0]])
    assert legs.reason.tolist() == ["too_few_data", "no_count", ""]
    assert legs.mean[0] == 5 and np.isnan(legs.mean[1])
    assert np.isnan(legs.low).tolist() == np.isnan(legs.high).tolist() == [True, True, False]


def test_ten_animals_without_a_fly_leave_room_for_one_on_three_animals():
    legs = leg_means(np.zeros((1, 10)))
    # (1.4 / (1.4 + m))^14 = 0.025
    assert (legs.mean[0], legs.low[0], legs.reason[0]) == (0, 0, "")
    assert (1.4 / (1.4 + legs.high[0])) ** 14 == pytest.approx(0.025)


def test_equal_counts_are_as_uncertain_as_counting_is():
    legs = leg_means(np.full((1, 10), 4.0))
    assert legs.low[0] < 4 < legs.high[0]
    assert legs.high[0] / legs.low[0] == pytest.approx(np.exp(2 * 1.96 / 40**0.5), rel=0.03)


def test_sessions_are_taken_at_once():
    rows = np.array([TEN, [*TEN[:8], NONE, NONE], [0.0] * 10, [NONE] * 10])
    together, alone = leg_means(rows), [leg_means(rows[[place]]) for place in range(4)]
    for name in ("mean", "low", "high", "animals", "reason"):
        np.testing.assert_array_equal(getattr(together, name), np.concatenate([getattr(one, name) for one in alone]))


def test_no_session_is_no_result():
    assert leg_means(np.empty((0, 12))).mean.shape == (0,)


FLIES = st.lists(st.integers(0, 200), min_size=3, max_size=15)


@given(FLIES, st.randoms())
def test_the_order_of_animals_changes_nothing(flies, random):
    shuffled = flies.copy()
    random.shuffle(shuffled)
    one, other = leg_means([flies]), leg_means([shuffled])
    np.testing.assert_allclose([one.low, one.high], [other.low, other.high], rtol=1e-9)


@given(FLIES)
def test_a_higher_confidence_is_a_wider_interval(flies):
    narrow, wide = leg_means([flies], level=0.8), leg_means([flies], level=0.95)
    assert wide.low[0] <= narrow.low[0] and narrow.high[0] <= wide.high[0]


@pytest.mark.parametrize("wrong", [-1.0, 2.5, float("inf")])
def test_what_cannot_be_a_count_is_refused(wrong):
    with pytest.raises(ValueError, match=r"^flies must"):
        leg_means([[1.0, wrong, 3.0]])


def test_bad_arguments_are_refused_by_name():
    with pytest.raises(ValueError, match=r"^flies must have two axes"):
        leg_means([1.0, 2.0])
    with pytest.raises(ValueError, match=r"^k must"):
        leg_means([[1.0, 2.0]], k=0.0)
    with pytest.raises(ValueError, match=r"^level must"):
        leg_means([[1.0, 2.0]], level=1.0)


@pytest.mark.parametrize("sessions", [2_000, pytest.param(10_000, marks=pytest.mark.full)])
def test_the_95_percent_interval_covers_95_percent_of_simulated_sessions(sessions, capsys):
    """The bars of the farm's mean: 93 to 97 % averaged over k, 91 to 98 % in each cell; k 0.8 and 1.4."""
    rng, found = np.random.default_rng(12), []
    for animals in (10, 12, 15):
        for mean in (2.0, 3.0, 5.0, 10.0, 15.0):
            for k in (0.8, 1.4):
                with np.errstate(under="ignore"):
                    legs = leg_means(draw_counts(rng, np.full((sessions, animals), mean), k=k))
                found.append(100 * ((legs.low <= mean) & (mean <= legs.high)).mean())
    cells = np.reshape(found, (3, 5, 2))
    with capsys.disabled():
        for animals, rows in zip((10, 12, 15), cells, strict=True):
            told = ", ".join(
                f"{mean}: {row[0]:.1f} and {row[1]:.1f}" for mean, row in zip((2, 3, 5, 10, 15), rows, strict=True)
            )
            print(f"\n95 % interval of a leg count, {animals} animals, k 0.8 and 1.4, covers at a mean of {told} %")
    assert cells.min() > 91 and cells.max() < 98
    assert cells.mean(axis=2).min() > 93 and cells.mean(axis=2).max() < 97


class TestSums:
    """`leg_means_of_sums` says of sums what `leg_means` says of the animals."""

    @given(st.lists(st.integers(0, 40), min_size=1, max_size=15))
    def test_one_leg_count(self, flies):
        y = np.array(flies, np.float64)
        sums = (np.array([float(y.size)]), np.array([y.sum()]), np.array([(y**2).sum()]))
        found, whole = leg_means_of_sums(*sums, np.array([0]), 1), leg_means([flies])
        assert str(found.reason[0]) == str(whole.reason[0])
        for name in ("mean", "low", "high"):
            np.testing.assert_allclose(getattr(found, name), getattr(whole, name), rtol=1e-9)

    def test_two_leg_counts_weigh_the_same_and_tell_more(self):
        one = (np.full(2, 12.0), np.array([60.0, 120.0]), np.array([500.0, 1800.0]))
        both = leg_means_of_sums(*one, np.array([0, 0]), 2)
        each = leg_means_of_sums(*one, np.array([0, 1]), 2)
        assert both.mean[0] == pytest.approx(each.mean.mean())
        assert np.isnan(both.mean[1])
        assert str(both.reason[1]) == "no_count"
        assert both.high[0] / both.low[0] < (each.high / each.low).max()

    def test_no_animals_with_flies_are_refused(self):
        with pytest.raises(ValueError, match=r"^animals must"):
            leg_means_of_sums(np.zeros(1), np.ones(1), np.ones(1), np.array([0]), 1)
