"""A region's mean growth: against statsmodels and scipy where they answer the same question, and by simulation."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from monitoring.analysis.regional_growth import regional_growth

DATES = np.arange(8) * 7.0


def drawn(rng, farms, shock, stays, differ, growth=0.1):
    """Logs of farms over eight weeks; a tenth missing. `shock` and `stays` are of the weather that all share."""
    shared = np.zeros(8)
    shared[0] = rng.normal()
    for week in range(1, 8):
        shared[week] = stays * shared[week - 1] + np.sqrt(1 - stays**2) * rng.normal()
    own = rng.normal(growth, differ, farms)
    logs = rng.normal(4, 0.6, farms)[:, None] + own[:, None] * np.arange(8) + shock * shared
    logs += rng.normal(0, 0.4, (farms, 8))
    logs[:, :7][rng.random((farms, 7)) < 0.1] = np.nan
    return logs


@pytest.mark.parametrize(
    ("farms", "shock", "stays", "differ"),
    [(10, 0.3, 0.0, 0.1), (30, 0.0, 0.0, 0.1), (30, 0.3, 0.0, 0.0), (100, 0.15, 0.3, 0.1), (100, 0.3, 0.5, 0.1)],
)
def test_its_interval_covers_the_growth_that_was_put_in(farms, shock, stays, differ):
    rng = np.random.default_rng(6)
    found = [regional_growth(drawn(rng, farms, shock, stays, differ), DATES) for _ in range(400)]
    covered = np.mean([each.low <= 0.1 <= each.high for each in found])
    print(f"regional growth: {farms} farms, shock {shock}, stays {stays}: {100 * covered:.1f} % covered")
    # 95 % promised; weather that stays is short of it, since eight weeks can't tell it from a trend.
    assert covered > (0.89 if stays == 0.5 else 0.93)


def test_farms_taken_for_independent_would_be_too_sure():
    """What the plain mean of slopes, by scipy's t interval, covers where weather moves all farms together."""
    rng = np.random.default_rng(7)
    plain, ours = [], []
    for _ in range(200):
        logs = drawn(rng, 100, 0.3, 0.0, 0.0)
        found = regional_growth(logs, DATES)
        own = found.own[~np.isnan(found.own)]
        low, high = stats.t.interval(0.95, own.size - 1, own.mean(), stats.sem(own))
        plain.append(low <= 0.1 <= high)
        ours.append(found.low <= 0.1 <= found.high)
    assert np.mean(plain) < 0.6
    assert np.mean(ours) > 0.93


def test_each_farms_own_growth_and_its_rising_are_those_of_statsmodels():
    logs = drawn(np.random.default_rng(8), 12, 0.2, 0.0, 0.2)
    found = regional_growth(logs, DATES)
    for farm in range(12):
        there = ~np.isnan(logs[farm])
        line = sm.OLS(logs[farm][there], sm.add_constant(np.arange(8.0)[there])).fit()
        assert found.own[farm] == pytest.approx(line.params[1], rel=1e-9)
        one_sided = stats.t.sf(line.tvalues[1], there.sum() - 2)
        assert found.rising[farm] == (one_sided < 0.1)


def test_fewer_than_ten_farms_or_four_weeks_have_no_growth():
    logs = drawn(np.random.default_rng(9), 9, 0.2, 0.0, 0.1)
    assert regional_growth(logs, DATES).rounded() == (None, None, None)
    logs = drawn(np.random.default_rng(9), 20, 0.2, 0.0, 0.1)
    logs[:, :5] = np.nan
    assert regional_growth(logs, DATES).rounded() == (None, None, None)


def test_it_is_told_in_steps_of_five_per_cent_and_the_interval_outwards():
    found = regional_growth(drawn(np.random.default_rng(10), 40, 0.1, 0.0, 0.05), DATES)
    growth, low, high = found.rounded()
    assert low <= np.expm1(found.low) and high >= np.expm1(found.high)
    assert abs(growth - np.expm1(found.slope)) <= 0.025 + 1e-9
    assert all(round(each * 20, 6) == round(each * 20) for each in (growth, low, high))


def test_the_order_of_farms_changes_nothing():
    logs = drawn(np.random.default_rng(11), 20, 0.2, 0.3, 0.1)
    one, other = regional_growth(logs, DATES), regional_growth(logs[::-1], DATES)
    assert (one.slope, one.low, one.high) == pytest.approx((other.slope, other.low, other.high), rel=1e-9)
