"""The trend against statsmodels, its reasons for having none, and what its interval covers."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from monitoring.analysis.rates import station_weeks
from monitoring.analysis.trend import fit_trends, trends_of
from monitoring.analysis.week_effects import _prepare, week_effects
from tests.monitoring.analysis.farms import FIRST, grid, owned_by_one, readings
from tests.reference import trend_by_statsmodels as reference

NONE = float("nan")
MONDAYS = np.arange(8) * 7.0
GROWTH = 0.1


def one_farm(counts, days=7.0, dates=MONDAYS):
    counts = np.array(counts, float)[None]
    return fit_trends(counts, np.full(counts.shape, days), dates[: counts.shape[2]])


def simulated(rng, *, farms, stations=9, mean=40.0, shock=0.3, missing=0.1):
    """Counts (farms, stations, 8 weeks) with a weekly shock shared by a farm's stations, and days from 5 to 9."""
    k = 1.5
    level = np.log(mean) + 0.6 * rng.standard_normal((farms, stations, 1))
    week = GROWTH * (np.arange(8) - 3.5) + shock * rng.standard_normal((farms, 1, 8))
    days = rng.integers(5, 10, (farms, stations, 8)).astype(float)
    expected = np.exp(level + week) * days / 7
    counts = rng.poisson(rng.gamma(k, expected / k)).astype(float)
    counts[rng.random(counts.shape) < missing] = np.nan
    return counts, days


class TestAgainstStatsmodels:
    """Source: statsmodels GLM (Poisson, log link) and OLS, a general-purpose reference library."""

    def test_farms_with_lost_cards_and_unequal_days(self, rng):
        worst, fitted = reference.largest_difference(*simulated(rng, farms=60), MONDAYS)
        assert fitted == 60
        assert worst < 1e-8

    def test_weeks_of_zeros(self, rng):
        counts, days = simulated(rng, farms=40)
        for farm in range(40):
            empty = rng.choice(8, size=rng.integers(1, 4), replace=False)
            counts[farm][:, empty] = np.where(np.isnan(counts[farm][:, empty]), np.nan, 0.0)
        worst, fitted = reference.largest_difference(counts, days, MONDAYS)
        assert fitted == 40
        assert worst < 1e-8

    def test_stations_that_come_and_go_and_never_catch(self, rng):
        counts, days = simulated(rng, farms=60, stations=8)
        counts[:, 0, :3] = np.nan
        counts[:, 1, 5:] = np.nan
        counts[:, 2, :] = 0.0
        counts[::2, 3, :] = np.nan
        counts[::3, :, 2] = np.nan
        worst, fitted = reference.largest_difference(counts, days, MONDAYS)
        assert fitted == 60
        assert worst < 1e-8

    def test_few_catches(self, rng):
        worst, fitted = reference.largest_difference(*simulated(rng, farms=80, stations=5, mean=0.7), MONDAYS)
        assert fitted > 50
        assert worst < 1e-8

    def test_one_station(self, rng):
        worst, fitted = reference.largest_difference(*simulated(rng, farms=40, stations=1, missing=0.0), MONDAYS)
        assert fitted == 40
        assert worst < 1e-8

    def test_days_that_are_no_weeks_apart(self, rng):
        dates = np.array([0.0, 6, 15, 20, 29, 35, 43.5, 48])
        worst, _ = reference.largest_difference(*simulated(rng, farms=40), dates)
        assert worst < 1e-8

    def test_very_large_counts_beside_very_small_ones(self, rng):
        counts, days = simulated(rng, farms=40, missing=0.0)
        counts[:, ::2] *= 10_000
        worst, fitted = reference.largest_difference(counts, days, MONDAYS)
        assert fitted == 40
        assert worst < 1e-8


@pytest.fixture
def rng():
    return np.random.default_rng(20260601)


def test_a_farm_that_doubles_every_week_is_found_to():
    trends = one_farm([[1, 2, 4, 8, 16, 32, 64, 128], [3, 6, 12, 24, 48, 96, 192, 384]])
    assert np.exp(trends.slope[0]) == pytest.approx(2, rel=1e-12)
    assert trends.p_value[0] == 0
    assert trends.degrees[0] == 6


def test_a_farm_that_never_changes_has_no_slope_and_p_one():
    trends = one_farm([[7] * 8, [20] * 8])
    assert trends.slope[0] == pytest.approx(0, abs=1e-12)
    assert (trends.standard_error[0], trends.p_value[0]) == (0, 1)


def test_a_skipped_week_lies_where_its_date_is():
    with_gap = one_farm([[1, 2, NONE, 8, 16, 32, NONE, 128]])
    assert np.exp(with_gap.slope[0]) == pytest.approx(2, rel=1e-12)
    assert (with_gap.weeks_observed[0], with_gap.weeks_used[0], with_gap.degrees[0]) == (6, 6, 4)


class TestTooFew:
    """Where there is no line there is a reason, and every number is NaN."""

    def reason(self, counts):
        trends = one_farm(counts)
        if trends.reason[0]:
            numbers = [trends.slope, trends.standard_error, trends.p_value, trends.interval().low]
            assert np.isnan([number[0] for number in numbers]).all()
        return str(trends.reason[0]), int(trends.weeks_observed[0]), int(trends.weeks_used[0])

    def test_two_of_five_weeks(self):
        assert self.reason([[NONE] * 6 + [3, 5]]) == ("too_few_weeks", 2, 2)

    def test_four_weeks_are_too_few_and_five_enough(self):
        assert self.reason([[NONE] * 4 + [3, 5, 2, 6]])[0] == "too_few_weeks"
        assert self.reason([[NONE] * 3 + [4, 3, 5, 2, 6]])[0] == ""

    def test_one_week(self):
        assert self.reason([[3], [4]]) == ("too_few_weeks", 1, 1)

    def test_nothing_counted(self):
        assert self.reason([[NONE] * 8] * 3) == ("no_counts", 0, 0)

    def test_nothing_caught(self):
        assert self.reason([[0] * 8] * 3) == ("all_zero", 8, 0)

    def test_all_stations_replaced(self):
        old, new = [3, 4, 5, 6] + [NONE] * 4, [NONE] * 4 + [30, 40, 50, 60]
        assert self.reason([old, old, new, new]) == ("not_comparable", 8, 4)

    def test_all_but_one_station_replaced(self):
        old, new, stays = [3, 4, 5, 6] + [NONE] * 4, [NONE] * 4 + [30, 40, 50, 60], [1, 2, 1, 2, 1, 2, 1, 2]
        assert self.reason([old, old, new, stays]) == ("", 8, 8)

    def test_older_weeks_on_other_stations_are_left_out(self):
        old, new = [9, 4] + [NONE] * 6, [NONE] * 2 + [30, 40, 50, 60, 55, 70]
        assert self.reason([old, new]) == ("", 8, 6)

    def test_stations_that_would_send_an_effect_to_infinity(self):
        # The first caught in weeks 1-4 and nothing after, the second was hung in week 5: nothing joins the two.
        assert self.reason([[5, 6, 7, 8, 0, 0, 0, 0], [NONE] * 4 + [5, 6, 7, 8]])[0] == "not_comparable"

    def test_farms_side_by_side_do_not_touch_each_other(self):
        good, zero = [[4, 7, 5, 9, 8, 12, 9, 15]], [[0] * 8]
        both = fit_trends(np.array([good, zero], float), np.full((2, 1, 8), 7.0), MONDAYS)
        assert both.reason.tolist() == ["", "all_zero"]
        assert both.slope[0] == one_farm(good).slope[0]


@pytest.mark.parametrize(
    ("count", "days", "date", "argument"),
    [
        (-1.0, 7.0, 0.0, "counts"),
        (float("inf"), 7.0, 0.0, "counts"),
        (2e9, 7.0, 0.0, "counts"),
        (5.0, 0.0, 0.0, "days"),
        (5.0, -7.0, 0.0, "days"),
        (5.0, NONE, 0.0, "days"),
        (5.0, float("inf"), 0.0, "days"),
        (5.0, 7.0, NONE, "dates"),
        (5.0, 7.0, float("inf"), "dates"),
    ],
)
def test_bad_input_is_refused_by_the_name_of_its_argument(count, days, date, argument):
    counts, exposure, dates = np.full((2, 3, 8), 4.0), np.full((2, 3, 8), 7.0), MONDAYS.copy()
    counts[1, 2, 3], exposure[1, 2, 3], dates[3] = count, days, dates[3] + date
    with pytest.raises(ValueError, match=f"^{argument} must"):
        fit_trends(counts, exposure, dates)


def test_dates_must_differ():
    with pytest.raises(ValueError, match=r"^dates must differ"):
        one_farm([[4, 7, 5, 9, 8, 12, 9, 15]], dates=np.zeros(8))


def test_unlike_shapes_are_refused():
    with pytest.raises(ValueError, match=r"^days must have the shape"):
        fit_trends(np.ones((1, 2, 8)), np.ones((1, 2, 7)), MONDAYS)
    with pytest.raises(ValueError, match=r"^counts must have three axes"):
        fit_trends(np.ones((2, 8)), np.ones((2, 8)), MONDAYS)


@pytest.mark.parametrize("level", [0.0, 1.0])
def test_a_confidence_outside_0_to_1_is_refused(level):
    with pytest.raises(ValueError, match=r"^level must"):
        one_farm([[4, 7, 5, 9, 8]]).interval(level=level)


def test_no_farms_are_no_trends():
    assert fit_trends(np.ones((0, 3, 8)), np.ones((0, 3, 8)), MONDAYS).slope.shape == (0,)


class TestOfAGrid:
    """`trends_of` reads station-weeks as the raw form reads padded arrays."""

    def test_the_same_numbers(self, rng):
        counts, days = simulated(rng, farms=7, stations=4)
        table = [(4 * f + i, t, counts[f, i, t], days[f, i, t]) for f, i, t in np.ndindex(counts.shape)]
        order = rng.permutation(len(table))
        weeks = station_weeks(readings([table[n] for n in order]), n_stations=28, n_weeks=8)
        raw = fit_trends(counts, days, MONDAYS)
        np.testing.assert_allclose(trends_of(weeks, np.repeat(np.arange(7), 4), 7).slope, raw.slope, rtol=1e-10)

    def test_farms_of_unlike_size(self, rng):
        counts, _ = simulated(rng, farms=3, stations=6)
        rows = np.concatenate([counts[0][:6], counts[1][:1], counts[2][:3]])
        trends = trends_of(grid(rows), np.array([0] * 6 + [1] + [3] * 3), 4)
        assert trends.reason[2] == "no_counts"
        for owner, farm, many in ((0, 0, 6), (1, 1, 1), (3, 2, 3)):
            assert trends.slope[owner] == pytest.approx(one_farm(counts[farm][:many]).slope[0], rel=1e-9)

    def test_the_window_ends_at_the_judged_week(self):
        series = [50, 60, 1, 2, 4, 8, 16, 32, 64, 128, 5, 5]
        trends = trends_of(grid([series]), np.array([0]), 1, newest=9)
        assert np.exp(trends.slope[0]) == pytest.approx(2, rel=1e-12)

    def test_a_season_younger_than_the_window(self):
        weeks = grid([[4, 7]])
        trends = trends_of(weeks, owned_by_one(weeks), 1)
        assert (trends.reason[0], trends.weeks_observed[0]) == ("too_few_weeks", 2)
        assert trends.week_effects.shape == (1, 8)

    def test_a_part_enters_as_less_exposure(self):
        counts = [4, 7, 5, 9, 8, 12, 9, 15]
        whole = trends_of(grid([counts]), np.array([0]), 1)
        quarter = trends_of(grid([counts], part=[0.25] * 8, how=["part"] * 8), np.array([0]), 1)
        assert quarter.slope[0] == pytest.approx(whole.slope[0], rel=1e-12)

    def test_an_at_least_count_marks_the_farm(self):
        weeks = grid([[4, 7, 5, 9, 8, 12, 9, 15]], at_least=[0] * 7 + [1])
        assert trends_of(weeks, owned_by_one(weeks), 1).at_least[0]
        assert not trends_of(weeks, owned_by_one(weeks), 1, newest=6).at_least[0]

    def test_the_date_of_a_week_is_its_mean_middle_day(self):
        middles = FIRST + np.array([3, 9, 17, 24, 33, 38, 45, 51])
        weeks = grid([[4, 7, 5, 9, 8, 12, 9, 15]], middle=middles)
        assert trends_of(weeks, np.array([0]), 1).dates[0].tolist() == middles.astype(int).tolist()

    def test_bad_arguments_are_refused(self):
        weeks = grid([[4.0, 7.0]])
        with pytest.raises(ValueError, match=r"^newest must lie"):
            trends_of(weeks, np.array([0]), 1, newest=2)
        with pytest.raises(ValueError, match=r"^owner must"):
            trends_of(weeks, np.array([1]), 1)


CELLS = st.integers(0, 300).map(float) | st.just(0.0) | st.just(NONE)
FARMS = arrays(float, (1, 4, 8), elements=CELLS)
DAYS = arrays(float, (1, 4, 8), elements=st.integers(1, 20).map(float))


@given(FARMS, DAYS, st.permutations(range(4)))
@settings(max_examples=200)
def test_the_order_of_stations_changes_nothing(counts, days, order):
    one, other = fit_trends(counts, days, MONDAYS), fit_trends(counts[:, order], days[:, order], MONDAYS)
    assert one.reason == other.reason
    np.testing.assert_allclose(one.slope, other.slope, atol=1e-9)
    np.testing.assert_allclose(one.standard_error, other.standard_error, atol=1e-7)


@given(FARMS, DAYS, st.integers(2, 9))
def test_more_days_everywhere_change_nothing(counts, days, times):
    one, other = fit_trends(counts, days, MONDAYS), fit_trends(counts, days * times, MONDAYS)
    np.testing.assert_allclose(one.week_effects, other.week_effects, atol=1e-8)


@given(FARMS, DAYS, st.integers(2, 9))
def test_counts_and_days_times_the_same_number_change_nothing(counts, days, times):
    # A week of zeros is the exception: its half count is half of one fly, whatever the days.
    counts = np.where(counts == 0, 1.0, counts)
    one, other = fit_trends(counts, days, MONDAYS), fit_trends(counts * times, days * times, MONDAYS)
    np.testing.assert_allclose(one.slope, other.slope, atol=1e-8)


@given(FARMS, DAYS)
@settings(max_examples=200)
def test_the_fit_reproduces_the_totals_of_every_week(counts, days):
    """A property of Poisson fits with factors: fitted and seen totals agree for each station and week."""
    effects = week_effects(counts, days)[0]
    weeks = np.flatnonzero(~np.isnan(effects))
    if weeks.size < 2:
        return
    rows = [row for row in reference.prepared(counts[0], days[0]) if row[1] in weeks]
    totals = {i: sum(y for j, _, y, _ in rows if j == i) for i in {row[0] for row in rows}}
    reach = {i: sum(d * np.exp(effects[t]) for j, t, _, d in rows if j == i) for i in totals}
    for week in weeks:
        seen = sum(y for _, t, y, _ in rows if t == week)
        fitted = sum(totals[i] * d * np.exp(effects[t]) / reach[i] for i, t, _, d in rows if t == week)
        assert fitted == pytest.approx(seen, rel=1e-7, abs=1e-7)


def as_if_independent(counts, days, truth):
    """Coverage of the intervals that take every count as independent: Poisson, and with its scatter (quasi-Poisson)."""
    effects = week_effects(counts, days)
    y, d = np.nan_to_num(counts), np.where(np.isnan(counts), 0.0, days)
    weight = d * np.exp(effects)[:, None, :]
    share = weight / weight.sum(axis=2, keepdims=True)
    expected = y.sum(axis=2)[:, :, None] * share
    information = -np.einsum("fit,fis->fts", expected, share)
    information[:, np.arange(8), np.arange(8)] += expected.sum(axis=1)
    x = MONDAYS / 7 - MONDAYS.mean() / 7
    precision = np.einsum("t,fts,s->f", x, information, x)
    slope = np.einsum("t,fts,fs->f", x, information, effects) / precision
    seen = ~np.isnan(counts)
    squares = np.where(seen, (y - expected) ** 2, 0.0) / np.where(expected > 0, expected, 1.0)
    scatter = squares.sum(axis=(1, 2)) / (seen.sum(axis=(1, 2)) - counts.shape[1] - 7)
    error = np.sqrt(1 / precision)
    return [float(np.mean(np.abs(slope - truth) <= 1.959964 * each)) for each in (error, error * np.sqrt(scatter))]


@pytest.mark.parametrize("shock", [0.0, 0.15, 0.3])
def test_what_the_95_percent_interval_covers(shock, capsys):
    """Simulated: negative-binomial counts (k 1.5), stations sd 0.6, a weekly shock shared by a farm's stations."""
    farms, lines = 2000, []
    rng = np.random.default_rng(int(1000 * shock) + 7)
    for stations, missing in ((5, 0.0), (9, 0.2), (25, 0.1)):
        with np.errstate(under="ignore"):
            counts, days = simulated(rng, farms=farms, stations=stations, shock=shock, missing=missing)
        ends = fit_trends(counts, days, MONDAYS).interval()
        covered = np.mean((ends.low <= GROWTH) & (ends.high >= GROWTH))
        poisson, quasi = as_if_independent(counts, days, GROWTH)
        lines.append(f"{stations} stations {100 * covered:.1f} % ({100 * poisson:.0f} and {100 * quasi:.0f} %)")
        assert 0.93 < covered < 0.97
        assert poisson < covered - 0.5
    with capsys.disabled():
        print(
            f"\n95 % trend interval covers at a weekly shock of {shock} (in brackets Poisson and quasi-Poisson, which "
            "take counts as independent): " + ", ".join(lines)
        )


def test_the_fit_is_found_from_anywhere():
    """Counts from 0 to a billion side by side, most of them missing: no farm is given up on."""
    rng = np.random.default_rng(5)
    with np.errstate(under="ignore"):
        counts = np.floor(np.exp(rng.uniform(-3, 20.7, (2000, 6, 8)) * rng.random((2000, 1, 1))))
    counts[rng.random(counts.shape) < 0.4] = np.nan
    counts[rng.random(counts.shape) < 0.4] = 0.0
    trends = fit_trends(counts, np.full(counts.shape, 7.0), MONDAYS)
    given = _prepare(counts, np.full(counts.shape, 7.0))[2]
    assert (np.isnan(trends.week_effects) == ~given).all(axis=1)[given.sum(axis=1) > 1].all()
    assert (trends.reason == "").sum() > 1500
