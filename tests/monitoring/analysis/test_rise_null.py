"""What level farms show by chance: drawn the same everywhere, and read as shares that fall as the change grows."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.analysis import rise_null
from monitoring.analysis.correlated_weeks import PRINTED, WeekScatter
from monitoring.analysis.rise_null import DRAWS, null_draws

LASTING = WeekScatter(shock=0.3, stays=0.5, counting=1.2, growth=0.1, degrees=9.0, k=1.5, farms=200)


def p_of(null, statistic):
    return null.p_of_rise(np.atleast_1d(np.asarray(statistic, float)))


class TestDraws:
    def test_the_same_call_gives_the_same_p_values(self):
        one = null_draws(8, 0.09, PRINTED, 1.0)
        rise_null._drawn.cache_clear()
        other = null_draws(8, 0.09, PRINTED, 1.0)
        assert one is not other
        np.testing.assert_array_equal(one.rise, other.rise)

    def test_they_are_drawn_once(self):
        assert null_draws(8, 0.09, PRINTED, 1.0) is null_draws(8, 0.09, PRINTED, 1.0)

    def test_they_are_in_order_and_as_many_as_said(self):
        null = null_draws(6, 0.09, PRINTED, 1.0)
        assert null.rise.shape == null.fall.shape == (DRAWS,)
        assert (np.diff(null.rise) >= 0).all() and (np.diff(null.fall) >= 0).all()

    @pytest.mark.parametrize("weeks", [4, 5, 12])
    @pytest.mark.parametrize("noise", [2.0**-13, 0.09, 2.0])
    @pytest.mark.parametrize("scatter", [PRINTED, LASTING], ids=["printed", "lasting"])
    def test_there_are_some_for_every_farm_that_can_be_told_of(self, weeks, noise, scatter):
        null = null_draws(weeks, noise, scatter, 1.0)
        assert np.isfinite(null.rise).all() and np.isfinite(null.fall).all()

    def test_few_catches_lean_to_falls(self):
        # The log of a small count can fall far and not rise far.
        null = null_draws(8, 0.5, WeekScatter(0.05, 0.0, 1.0, 0.1, 6.0, 1.5, 0), 1.0)
        assert np.quantile(null.fall, 0.95) > 1.05 * np.quantile(null.rise, 0.95)

    def test_many_catches_do_not(self):
        null = null_draws(8, 2.0**-13, PRINTED, 1.0)
        assert np.quantile(null.fall, 0.95) == pytest.approx(np.quantile(null.rise, 0.95), rel=0.02)

    def test_without_any_shock_they_come_from_counting(self):
        null = null_draws(8, 0.09, WeekScatter(0.0, 0.0, 1.0, 0.1, 6.0, 1.5, 0), 1.0)
        assert 1.2 < np.quantile(null.rise, 0.95) < 4


class TestShares:
    @pytest.mark.parametrize("share", [0.5, 0.2, 0.05, 0.01, 0.002])
    def test_the_statistic_with_a_share_of_draws_above_has_that_p(self, share):
        null = null_draws(8, 0.09, PRINTED, 1.0)
        assert p_of(null, np.quantile(null.rise, 1 - share))[0] == pytest.approx(share, abs=2e-5)
        fall = np.quantile(null.fall, [1 - share])
        assert null.p_of_fall(fall)[0] == pytest.approx(share, abs=2e-5)

    def test_nothing_is_impossible_and_nothing_more_than_certain(self):
        p = p_of(null_draws(8, 0.09, PRINTED, 1.0), [-1e6, -5.0, 0.0, 5.0, 50.0, 1e4])
        assert ((p > 0) & (p <= 1)).all()
        assert p[0] == 1

    @given(st.lists(st.floats(-20, 200), min_size=2, max_size=30))
    def test_a_larger_change_never_has_a_larger_p(self, statistics):
        null = null_draws(8, 0.09, LASTING, 6.0)
        for p in (p_of(null, sorted(statistics)), null.p_of_fall(np.sort(statistics))):
            assert (np.diff(p) <= 0).all()

    def test_beyond_the_draws_it_keeps_falling(self):
        null = null_draws(8, 0.09, PRINTED, 1.0)
        p = p_of(null, null.rise[-1] * np.array([1.0, 1.5, 2.0, 4.0]))
        assert (np.diff(p) < 0).all()
        assert p[-1] < 1e-5
