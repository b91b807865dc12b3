"""A farm's weeks: when they were, what they rest on, and why there are none."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from monitoring.analysis.farm_weeks import farm_weeks_from, farm_weeks_of, joined, padded_counts
from monitoring.analysis.rates import PER_ANIMAL, station_weeks
from tests.monitoring.analysis.counts import MONDAYS, NONE, K, simulated, weeks_of
from tests.monitoring.analysis.farms import FIRST, grid, owned_by_one, readings

RISING = [40, 70, 50, 90, 80, 120, 90, 150]


@pytest.fixture
def rng():
    return np.random.default_rng(20260601)


def of_grid(table, owner=None, n_owners=1, **options):
    """The weeks of a grid's owners, all stations one owner's unless said, eight weeks up to the grid's last."""
    owner = owned_by_one(table) if owner is None else np.array(owner)
    options = {"newest": table.rate.shape[1] - 1, "k": K, "weeks": 8} | options
    return farm_weeks_of(table, owner, n_owners, **options)


class TestWhen:
    def test_weeks_are_counted_back_from_the_newest_used_one(self):
        weeks = weeks_of([[40, 50, 60, 70, 80]])
        assert weeks.when[0].tolist() == [-4, -3, -2, -1, 0]
        assert weeks.newest_counted[0]

    def test_a_skipped_week_lies_where_its_date_is(self):
        weeks = weeks_of([[40, 50, NONE, 70, 80, NONE]])
        np.testing.assert_array_equal(weeks.when[0], [-4, -3, NONE, -1, 0, NONE])
        assert (weeks.weeks_observed[0], weeks.used.sum(), weeks.newest_counted[0]) == (4, 4, False)

    def test_days_between_are_parts_of_weeks(self):
        weeks = weeks_of([[40, 50, 60, 70]], dates=np.array([0.0, 7.0, 17.5, 21.0]))
        assert weeks.when[0].tolist() == [-3, -2, -0.5, 0]

    def test_farms_may_have_dates_of_their_own(self):
        counts = np.full((2, 3, 4), 40.0)
        dates = np.array([[0.0, 7, 14, 21], [3.0, 9, 16, 30]])
        weeks = farm_weeks_from(counts, np.full(counts.shape, 7.0), dates, K)
        np.testing.assert_allclose(weeks.when, (dates - dates[:, -1:]) / 7)

    def test_dates_are_not_looked_at_where_nothing_was_counted(self):
        dates = np.array([0.0, NONE, 14.0, 21.0, 28.0])
        weeks = weeks_of([[40, NONE, 60, 70, 80]], dates=dates)
        assert weeks.reason[0] == ""
        np.testing.assert_array_equal(weeks.dates[0], dates)


class TestTheirLevel:
    def test_the_base_and_a_weeks_effect_give_the_mean_of_its_stations(self):
        weeks = weeks_of([[10, 20, 40, 80], [30, 60, 120, 240]], days=7.0)
        np.testing.assert_allclose(np.exp(weeks.base[0] + weeks.effects[0]), [20, 40, 80, 160], rtol=1e-10)

    def test_it_is_a_catch_per_seven_days(self):
        weeks = weeks_of([[10, 20, 40, 80], [30, 60, 120, 240]], days=3.5)
        assert np.exp(weeks.base[0] + weeks.effects[0, -1]) == pytest.approx(320)

    def test_it_is_that_of_the_stations_counted_in_the_newest_week(self):
        weeks = weeks_of([[10, 20, 40, 80], [30, 60, 120, NONE]])
        assert np.exp(weeks.base[0] + weeks.effects[0, -1]) == pytest.approx(80)

    def test_a_station_that_never_caught_anything_is_in_the_mean_with_nothing(self):
        weeks = weeks_of([[10, 20, 40, 80], [30, 60, 120, 240], [0, 0, 0, 0], [0, 0, 0, NONE]])
        assert np.exp(weeks.base[0] + weeks.effects[0, -1]) == pytest.approx(320 / 3)

    def test_legs_are_told_a_mean_an_animal(self):
        weeks = of_grid(grid([[100, 110, 120, 130]], days=10, per=PER_ANIMAL), weeks=4)
        assert np.exp(weeks.base[0] + weeks.effects[0, -1]) == pytest.approx(13)


class TestTooFew:
    """Where nothing can be said there is a reason."""

    def reason(self, counts):
        weeks = weeks_of(counts)
        return str(weeks.reason[0]), int(weeks.weeks_observed[0]), int(weeks.used.sum())

    def test_two_of_four_weeks(self):
        assert self.reason([[NONE] * 6 + [30, 50]]) == ("too_few_weeks", 2, 2)

    def test_three_weeks_are_too_few_and_four_enough(self):
        assert self.reason([[NONE] * 5 + [50, 20, 60]])[0] == "too_few_weeks"
        assert self.reason([[NONE] * 4 + [30, 50, 20, 60]])[0] == ""

    def test_one_week(self):
        assert self.reason([[30], [40]]) == ("too_few_weeks", 1, 1)

    def test_nothing_counted(self):
        assert self.reason([[NONE] * 8] * 3) == ("no_counts", 0, 0)

    def test_nothing_caught(self):
        assert self.reason([[0] * 8] * 3) == ("all_zero", 8, 0)

    def test_nothing_caught_in_too_few_weeks_is_too_early(self):
        assert self.reason([[NONE] * 5 + [0] * 3])[0] == "too_few_weeks"

    def test_under_nine_catches_a_week_are_too_few_and_nine_enough(self):
        assert self.reason([[9, 9, 9, 8]])[0] == "too_few_counts"
        assert self.reason([[9, 9, 9, 9]])[0] == ""
        assert self.reason([[3, 3, 3, 3], [6, 6, 6, 6]])[0] == ""
        assert self.reason([[0, 0, 0, 36]])[0] == ""

    def test_weeks_without_a_count_are_not_in_that_mean(self):
        assert self.reason([[9, 9, NONE, 9, NONE, 9]])[0] == ""

    def test_all_stations_replaced_three_weeks_ago(self):
        old, new = [30, 40, 50, 60, 40] + [NONE] * 3, [NONE] * 5 + [300, 400, 500]
        assert self.reason([old, old, new, new]) == ("not_comparable", 8, 3)

    def test_all_but_one_station_replaced(self):
        old, new, stays = [30, 40, 50, 60] + [NONE] * 4, [NONE] * 4 + [30, 40, 50, 60], [10, 20, 10, 20, 10, 20, 10, 20]
        assert self.reason([old, old, new, stays]) == ("", 8, 8)

    def test_older_weeks_on_other_stations_are_left_out(self):
        old, new = [90, 40] + [NONE] * 6, [NONE] * 2 + [30, 40, 50, 60, 55, 70]
        assert self.reason([old, new]) == ("", 8, 6)

    def test_stations_that_would_send_an_effect_to_infinity(self):
        # The first caught in weeks 1-5 and nothing after, the second was hung in week 6: nothing joins the two.
        assert self.reason([[50, 60, 70, 80, 70, 0, 0, 0], [NONE] * 5 + [50, 60, 70]]) == ("not_comparable", 8, 3)
        assert self.reason([[50, 60, 70, 80, 0, 0, 0, 0], [NONE] * 4 + [50, 60, 70, 60]]) == ("", 8, 4)

    def test_farms_side_by_side_have_reasons_of_their_own(self):
        counts = np.array([[RISING], [[0.0] * 8], [[NONE] * 8], [[3.0] * 8], [[NONE] * 6 + [40, 50]]])
        weeks = weeks_of(counts)
        assert weeks.reason.tolist() == ["", "all_zero", "no_counts", "too_few_counts", "too_few_weeks"]
        assert weeks.told.tolist() == [True, False, False, False, False]


class TestTheLastWeeks:
    def test_they_keep_what_the_whole_window_knew(self, rng):
        weeks = weeks_of(simulated(rng, farms=5, weeks=12)[0])
        last = weeks.last(8)
        np.testing.assert_array_equal(last.effects, weeks.effects[:, 4:])
        np.testing.assert_array_equal(last.noise, weeks.noise[:, 4:, 4:])
        np.testing.assert_array_equal(last.when, weeks.when[:, 4:])
        np.testing.assert_array_equal(last.base, weeks.base)

    def test_too_few_of_them_is_a_reason(self):
        weeks = weeks_of([[40] * 6 + [NONE] * 3 + [40] * 3])
        assert weeks.reason[0] == "" and weeks.last(8).reason[0] == ""
        weeks = weeks_of([[40] * 4 + [NONE] * 6 + [40] * 2])
        assert weeks.reason[0] == "" and weeks.last(8).reason[0] == "too_few_weeks"

    def test_they_count_their_own_weeks(self):
        weeks = weeks_of([[40] * 4 + [NONE] * 6 + [40] * 2])
        assert weeks.weeks_observed[0] == 6
        assert weeks.last(8).weeks_observed[0] == 2

    def test_a_reason_stays_what_it_was(self):
        assert weeks_of([[0] * 12]).last(8).reason[0] == "all_zero"

    def test_more_than_there_are_is_all(self):
        weeks = weeks_of([RISING])
        np.testing.assert_array_equal(weeks.last(12).effects, weeks.effects)


def test_some_farms_are_chosen_by_index_or_mark(rng):
    weeks = weeks_of(simulated(rng, farms=4)[0])
    np.testing.assert_array_equal(weeks.only([2, 0]).effects, weeks.effects[[2, 0]])
    assert len(weeks.only([True, False, False, True])) == 2


def test_fits_are_put_one_after_another(rng):
    counts = simulated(rng, farms=5)[0]
    counts[3] = 0.0
    whole, parts = weeks_of(counts), joined([weeks_of(counts[:3]), weeks_of(counts[3:])])
    np.testing.assert_allclose(parts.effects, whole.effects, atol=1e-12)
    assert parts.reason.tolist() == whole.reason.tolist() == ["", "", "", "all_zero", ""]


class TestTheNoiseOfAWeek:
    def test_of_like_weeks_it_is_the_variance_of_each(self):
        weeks = weeks_of([[40] * 6] * 4, k=2.0)
        assert weeks.noise_of_a_week[0] == pytest.approx((1 / 40 + 1 / 2) / 4)

    def test_without_two_weeks_there_is_none(self):
        weeks = weeks_of(np.array([[[40.0, NONE, NONE, NONE]], [[0.0] * 4], [[NONE] * 4]]))
        assert weeks.noise_of_a_week.tolist() == [0, 0, 0]


class TestOfAGrid:
    """`farm_weeks_of` reads station-weeks as the raw form reads padded arrays."""

    def test_the_same_numbers(self, rng):
        counts, days = simulated(rng, farms=7, stations=4)
        table = [(4 * f + i, t, counts[f, i, t], days[f, i, t]) for f, i, t in np.ndindex(counts.shape)]
        order = rng.permutation(len(table))
        weeks = station_weeks(readings([table[n] for n in order]), n_stations=28, n_weeks=8)
        raw = farm_weeks_from(counts, days, MONDAYS, K)
        found = of_grid(weeks, np.repeat(np.arange(7), 4), 7)
        for name in ("effects", "noise", "base"):
            np.testing.assert_allclose(getattr(found, name), getattr(raw, name), rtol=1e-9, atol=1e-12)
        for name in ("weeks_observed", "reason", "newest_counted"):
            np.testing.assert_array_equal(getattr(found, name), getattr(raw, name))

    def test_farms_of_unlike_size(self, rng):
        counts, _ = simulated(rng, farms=3, stations=6)
        rows = np.concatenate([counts[0][:6], counts[1][:1], counts[2][:3]])
        weeks = of_grid(grid(rows), [0] * 6 + [1] + [3] * 3, 4)
        assert weeks.reason[2] == "no_counts"
        for owner, farm, many in ((0, 0, 6), (1, 1, 1), (3, 2, 3)):
            np.testing.assert_allclose(weeks.effects[owner], weeks_of(counts[farm][:many]).effects[0], atol=1e-9)

    def test_the_window_ends_at_the_judged_week(self):
        weeks = of_grid(grid([[50, 60, 10, 20, 40, 80, 160, 320, 640, 1280, 5, 5]]), newest=9)
        np.testing.assert_allclose(np.diff(weeks.effects[0]), np.log(2), rtol=1e-9)

    def test_twelve_weeks_unless_said(self):
        weeks = grid([[40] * 14])
        found = farm_weeks_of(weeks, owned_by_one(weeks), 1, newest=13, k=K)
        assert found.effects.shape == (1, 12)

    def test_a_season_younger_than_the_window(self):
        weeks = of_grid(grid([[40, 70]]))
        assert (weeks.reason[0], weeks.weeks_observed[0]) == ("too_few_weeks", 2)
        assert weeks.effects.shape == (1, 8)

    def test_a_part_enters_as_less_exposure(self):
        whole, quarter = of_grid(grid([RISING])), of_grid(grid([RISING], part=[0.25] * 8, how=["part"] * 8))
        np.testing.assert_allclose(quarter.effects, whole.effects, atol=1e-12)
        assert np.exp(quarter.base[0] - whole.base[0]) == pytest.approx(4)

    def test_a_part_is_as_sure_as_what_was_counted_on_it(self):
        whole, quarter = of_grid(grid([RISING])), of_grid(grid([RISING], part=[0.25] * 8, how=["part"] * 8))
        np.testing.assert_allclose(quarter.noise, whole.noise, atol=1e-12)

    def test_two_exposures_in_one_week_are_pooled(self):
        days = [(0, t, count, 7.0) for t, count in enumerate(RISING)]
        halves = [(0, t, count / 2, 3.5) for t, count in enumerate(RISING) for _ in range(2)]
        one, two = (of_grid(station_weeks(readings(rows), n_stations=1, n_weeks=8)) for rows in (days, halves))
        np.testing.assert_allclose(two.effects, one.effects, atol=1e-12)
        np.testing.assert_allclose(two.when, one.when, atol=1e-12)
        assert two.base[0] == pytest.approx(one.base[0])

    def test_two_exposures_of_which_one_is_lost_are_one(self):
        days = [(0, t, count, 7.0) for t, count in enumerate(RISING)]
        lost = [*days, (0, 3, NONE, 4.0)]
        one, two = (of_grid(station_weeks(readings(rows), n_stations=1, n_weeks=8)) for rows in (days, lost))
        np.testing.assert_allclose(two.effects, one.effects, atol=1e-12)

    def test_an_at_least_count_marks_the_farm_and_enters_at_its_bound(self):
        weeks = grid([RISING], at_least=[0] * 7 + [1])
        assert of_grid(weeks).at_least[0]
        assert not of_grid(weeks, newest=6).at_least[0]
        np.testing.assert_array_equal(of_grid(weeks).effects, of_grid(grid([RISING])).effects)

    def test_the_date_of_a_week_is_its_mean_middle_day(self):
        middles = FIRST + np.array([3, 9, 17, 24, 33, 38, 45, 51])
        weeks = of_grid(grid([RISING], middle=middles))
        assert weeks.dates[0].tolist() == middles.astype(int).tolist()
        np.testing.assert_allclose(weeks.when[0], (weeks.dates[0] - weeks.dates[0, -1]) / 7)

    def test_longer_exposures_weigh_more_in_the_date_of_a_week(self):
        rows = [(0, 0, 40.0, 9.0), (1, 0, 40.0, 3.0)]
        middle = FIRST + np.array([2, 6])
        weeks = of_grid(station_weeks(readings(rows, middle=middle), n_stations=2, n_weeks=1), weeks=1)
        assert weeks.dates[0, 0] == FIRST.astype(int) + 3

    def test_farms_may_have_a_k_of_their_own(self, rng):
        counts, _ = simulated(rng, farms=2, stations=5)
        found = of_grid(grid(np.concatenate(counts)), [0] * 5 + [1] * 5, 2, k=np.array([0.5, 5.0]))
        for farm, k in enumerate((0.5, 5.0)):
            np.testing.assert_allclose(found.effects[farm], weeks_of(counts[farm], k=k).effects[0], atol=1e-9)

    def test_a_leg_count_of_ten_animals_is_as_sure_as_ten_counts(self):
        counts = [[100.0, 110, 90, 130]]
        found = of_grid(grid(counts, days=10, per=PER_ANIMAL), k=1.4, weeks=4)
        np.testing.assert_allclose(found.noise, weeks_of(counts, k=14.0).noise, rtol=1e-9)

    def test_bad_arguments_are_refused(self):
        weeks = grid([[4.0, 7.0]])
        for newest in (2, -1):
            with pytest.raises(ValueError, match=r"^newest must lie"):
                of_grid(weeks, newest=newest)
        with pytest.raises(ValueError, match=r"^owner must lie"):
            of_grid(weeks, [1])
        with pytest.raises(ValueError, match=r"^owner must have the shape"):
            of_grid(weeks, [0, 0])
        for k in (0.0, -1.0, NONE):
            with pytest.raises(ValueError, match=r"^k must be above zero"):
                of_grid(weeks, k=k)


class TestPaddedCounts:
    def test_they_give_the_same_weeks(self, rng):
        counts, _ = simulated(rng, farms=3, stations=6)
        weeks = grid(np.concatenate([counts[0][:6], counts[1][:1], counts[2][:3]]))
        owner = np.array([0] * 6 + [1] + [3] * 3)
        padded = padded_counts(weeks, owner, 4, newest=7, weeks=8)
        assert padded[0].shape == padded[1].shape == (4, 6, 8)
        assert np.isnan(padded[0][2]).all() and np.isnan(padded[0][1, 1:]).all()
        found = farm_weeks_from(*padded, MONDAYS, K)
        np.testing.assert_allclose(found.effects, of_grid(weeks, owner, 4).effects, atol=1e-9)

    def test_without_stations_there_are_none(self):
        weeks = grid([[4.0, 7.0]])
        counts, _ = padded_counts(weeks, owned_by_one(weeks), 3, newest=1, weeks=4)
        assert counts.shape == (3, 1, 4)


@pytest.mark.parametrize(
    ("count", "days", "date", "argument"),
    [
        (-1.0, 7.0, 0.0, "counts"),
        (np.inf, 7.0, 0.0, "counts"),
        (2e9, 7.0, 0.0, "counts"),
        (5.0, 0.0, 0.0, "days"),
        (5.0, -7.0, 0.0, "days"),
        (5.0, NONE, 0.0, "days"),
        (5.0, np.inf, 0.0, "days"),
        (5.0, 7.0, NONE, "dates"),
        (5.0, 7.0, np.inf, "dates"),
    ],
)
def test_bad_input_is_refused_by_the_name_of_its_argument(count, days, date, argument):
    counts, exposure, dates = np.full((2, 3, 8), 4.0), np.full((2, 3, 8), 7.0), MONDAYS.copy()
    counts[1, 2, 3], exposure[1, 2, 3], dates[3] = count, days, dates[3] + date
    with pytest.raises(ValueError, match=f"^{argument} must"):
        farm_weeks_from(counts, exposure, dates, K)


def test_unlike_shapes_are_refused():
    with pytest.raises(ValueError, match=r"^days must have the shape"):
        farm_weeks_from(np.ones((1, 2, 8)), np.ones((1, 2, 7)), MONDAYS, K)
    with pytest.raises(ValueError, match=r"^counts must have three axes"):
        farm_weeks_from(np.ones((2, 8)), np.ones((2, 8)), MONDAYS, K)


@pytest.mark.parametrize(
    ("weeks", "dates", "k", "argument"),
    [(8, np.zeros(7), K, "dates"), (8, MONDAYS, np.ones(3), "k"), (0, np.zeros(0), K, "counts")],
)
def test_other_unlike_shapes_are_refused_by_name(weeks, dates, k, argument):
    counts = np.full((2, 4, weeks), 40.0)
    with pytest.raises(ValueError, match=f"^{argument} must"):
        farm_weeks_from(counts, counts, dates, k)


def test_no_farms_are_no_weeks():
    assert len(weeks_of(np.ones((0, 3, 8)))) == 0


CELLS = st.integers(0, 300).map(float) | st.just(0.0) | st.just(NONE)
REASONS = {"", "no_counts", "too_few_weeks", "all_zero", "not_comparable", "too_few_counts"}


@given(arrays(float, (2, 3, 8), elements=CELLS))
@settings(max_examples=200)
def test_every_farm_has_weeks_enough_or_a_reason(counts):
    weeks = weeks_of(counts)
    observed = (~np.isnan(counts).all(axis=1)).sum(axis=1)
    assert set(weeks.reason.tolist()) <= REASONS
    np.testing.assert_array_equal(weeks.weeks_observed, observed)
    told = weeks.told
    assert (weeks.used[told].sum(axis=1) >= 4).all()
    assert np.isfinite(weeks.base[told]).all()
    assert (np.isnan(weeks.when) == ~weeks.used).all()
    assert (weeks.noise_of_a_week[told] > 0).all()
    assert ((np.nansum(counts, axis=(1, 2)) >= 9 * observed)[told]).all()


@given(arrays(float, (1, 4, 8), elements=CELLS), st.permutations(range(4)))
def test_the_order_of_stations_changes_nothing(counts, order):
    one, other = weeks_of(counts), weeks_of(counts[:, order])
    assert one.reason == other.reason
    np.testing.assert_allclose(one.base, other.base, atol=1e-9)
    np.testing.assert_allclose(one.effects, other.effects, atol=1e-9)
