"""How weeks hang together: what a network may lend, and the covariance that all statements rest on."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.analysis.correlated_weeks import (
    ALONE,
    PRINTED,
    WeekScatter,
    covariance_of_weeks,
    kept_between,
    since,
    two_digits,
    whitened,
)
from tests.monitoring.analysis.counts import NONE, exactly_known, simulated, weeks_of


def scatter(**given):
    return WeekScatter(
        **{"shock": 0.3, "stays": 0.4, "counting": 1.0, "growth": 0.1, "degrees": 9.0, "k": 1.5, "farms": 0} | given
    )


class TestWhatANetworkLends:
    def test_nothing_under_thirty_farms(self):
        assert not scatter(farms=29).borrowed
        assert scatter(farms=30).borrowed

    def test_no_scale_under_a_hundred(self):
        assert scatter(farms=99).degrees_of_an_interval == 0
        assert scatter(farms=100).degrees_of_an_interval == 9

    def test_to_a_farms_own_test_at_most_one_degree(self):
        assert scatter(farms=500).degrees_of_own_test == 1
        assert scatter(farms=500, degrees=0.5).degrees_of_own_test == 0.5

    def test_to_the_list_all_of_it_from_a_hundred_farms_and_what_is_printed_below(self):
        assert scatter(farms=100).degrees_of_the_list == 9
        assert scatter(farms=99).degrees_of_the_list == PRINTED.degrees
        assert scatter(farms=99, degrees=2.0).degrees_of_the_list == 2

    def test_two_digits_of_every_figure(self):
        lent = scatter(shock=0.3149, stays=0.2051, counting=1.049, growth=0.2234, degrees=37.9).as_lent
        assert (lent.shock, lent.stays, lent.counting) == (0.31, 0.21, 1.0)
        assert (lent.growth, lent.degrees) == (0.22, 38.0)

    def test_a_quiet_quarter_lends_no_certainty_that_the_next_stays_so(self):
        assert scatter(growth=0.0).as_lent.growth == PRINTED.growth

    def test_what_is_printed_is_nobodys(self):
        assert (PRINTED.farms, ALONE.farms) == (0, 0)
        assert not PRINTED.borrowed and not ALONE.borrowed
        assert ALONE.degrees_of_an_interval == 0


@pytest.mark.parametrize(
    ("name", "value"),
    [
        *((name, value) for name in ("shock", "growth") for value in (-0.1, NONE, np.inf)),
        *(("stays", value) for value in (-0.1, 1.0, NONE)),
        *((name, value) for name in ("counting", "k", "degrees") for value in (0.0, -1.0, NONE)),
    ],
)
def test_what_no_network_can_have_is_refused_by_name(name, value):
    with pytest.raises(ValueError, match=f"^{name} must"):
        scatter(**{name: value})


@pytest.mark.parametrize(
    ("value", "told"), [(0.0, 0.0), (0.31415, 0.31), (-0.0157, -0.016), (199.9, 200.0), (1.07e-7, 1.1e-7), (0.95, 0.95)]
)
def test_two_digits(value, told):
    assert two_digits(value) == told


class TestTheCovariance:
    def test_of_weeks_known_exactly_it_is_that_of_the_shocks(self):
        covariance = covariance_of_weeks(exactly_known(np.arange(4.0)), scatter())[0]
        np.testing.assert_allclose(covariance[0], 0.09 * 0.4 ** np.arange(4), atol=1e-8)

    def test_counting_adds_to_it(self):
        weeks = weeks_of([[40, 50, 60, 70]] * 3)
        more = covariance_of_weeks(weeks, scatter(counting=2.0)) - covariance_of_weeks(weeks, scatter())
        np.testing.assert_allclose(more, weeks.noise, atol=1e-12)

    def test_weeks_further_apart_share_less(self):
        weeks = exactly_known(np.zeros(4), when=[0.0, 1.0, 3.5, 4.0])
        covariance = covariance_of_weeks(weeks, scatter())[0]
        np.testing.assert_allclose(covariance[0], 0.09 * 0.4 ** np.array([0, 1, 3.5, 4]), atol=1e-8)

    @pytest.mark.parametrize("stays", [1e-40, 0.001, 0.3, 0.95])
    def test_dates_far_apart_stay_within_the_floats(self, stays):
        when = np.array([[-60.0, -11.5, -3.25, 0.0]])
        with np.errstate(under="ignore"):
            expected = stays ** np.abs(when[:, :, None] - when[:, None, :])
        np.testing.assert_allclose(kept_between(when, stays), expected, rtol=1e-12, atol=1e-250)
        assert kept_between(np.empty((0, 4)), stays).shape == (0, 4, 4)

    def test_weather_that_does_not_last_leaves_the_diagonal(self):
        covariance = covariance_of_weeks(exactly_known(np.zeros(4)), scatter(stays=0.0))[0]
        np.testing.assert_allclose(covariance, 0.09 * np.eye(4), atol=1e-8)

    def test_a_week_that_is_not_used_stands_alone(self):
        covariance = covariance_of_weeks(weeks_of([[40, NONE, 60, 70, 80]]), scatter())[0]
        np.testing.assert_array_equal(covariance[1], [0, 1, 0, 0, 0])
        np.testing.assert_array_equal(covariance[:, 1], [0, 1, 0, 0, 0])

    def test_without_any_scatter_it_can_still_be_solved(self):
        covariance = covariance_of_weeks(exactly_known(np.zeros(8)), scatter(shock=0.0))
        assert np.linalg.eigvalsh(covariance).min() > 0

    # Rounded: the square of a shock of 1e-200 is no number any more.
    @given(
        st.floats(0, 2).map(lambda x: round(x, 6)),
        st.floats(0, 0.95).map(lambda x: round(x, 3)),
        st.floats(0.1, 5),
        st.integers(0, 1000),
    )
    def test_it_is_positive_definite(self, shock, stays, counting, seed):
        weeks = weeks_of(simulated(np.random.default_rng(seed), farms=3, missing=0.5)[0])
        covariance = covariance_of_weeks(weeks, scatter(shock=shock, stays=stays, counting=counting))
        assert np.linalg.eigvalsh(covariance).min() > 0


class TestWhitened:
    def test_columns_become_weeks_that_do_not_hang_together(self):
        covariance = covariance_of_weeks(exactly_known(np.zeros((3, 5))), scatter(stays=0.7))
        half = whitened(covariance, np.ones((3, 5), bool), np.broadcast_to(np.eye(5), (3, 5, 5)))
        np.testing.assert_allclose(
            half @ covariance @ half.transpose(0, 2, 1), np.broadcast_to(np.eye(5), (3, 5, 5)), atol=1e-9
        )

    def test_what_stands_in_weeks_not_used_is_not_looked_at(self):
        weeks = weeks_of([[40, NONE, 60, 70, 80]])
        covariance = covariance_of_weeks(weeks, scatter())
        columns = [np.where(weeks.used, 1.0, other)[:, :, None] for other in (NONE, 7.0)]
        one, other = (whitened(covariance, weeks.used, each) for each in columns)
        np.testing.assert_array_equal(one, other)
        assert one[0, 1, 0] == 0


def test_a_change_lasts_from_its_start():
    assert since(np.array([-3.0, -2.0, -1.0, 0.0]), 2).tolist() == [0, 0, 1, 2]
    assert since(np.array([-3.0, 0.0]), 0.0).tolist() == [0, 0]
