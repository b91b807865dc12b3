"""What a chart of a farm's own weeks says, and what it must not say."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitoring.analysis.correlated_weeks import WeekScatter
from monitoring.analysis.own_past import OwnPast, own_past, smoothed
from monitoring.analysis.run_length import average_run_length, limit_for
from monitoring.analysis.season_level import SeasonLevel, season_from
from monitoring.analysis.simulated_farms import Network, rise_of, simulate_farms
from monitoring.analysis.week_scatter import fit_week_scatter
from monitoring.analysis.week_scores import WeekScores, score_newest, windows_from
from tests.monitoring.analysis.counts import weeks_of

LOST = np.nan
LEVEL = np.array([40.0, 47, 36, 42, 39, 44, 41, 45, 38, 43, 40, 37])
OUTSIDE = ("above", "below")


def farm(weeks, stations=9):
    """One farm of like stations."""
    return np.repeat(np.asarray(weeks, np.float64)[None, None, :], stations, axis=1)


def windows(counts, **options):
    dates = np.arange(counts.shape[2]) * 7.0
    return windows_from(counts, np.full(counts.shape, 7.0), dates, 1.5, **options)


def chart(counts, scatter=None, season=None) -> OwnPast:
    return own_past(score_newest(windows(counts), scatter, season), counts.shape[2])


def farms_of(network, *, farms, weeks, growth=None, seed=1):
    """Simulated farms; NumPy's own gamma draws underflow now and then, nothing else may."""
    with np.errstate(under="ignore"):
        return simulate_farms(
            np.random.default_rng(seed), network, farms, weeks, np.zeros(weeks) + (0 if growth is None else growth)
        )


def scatter_of(network):
    """What a network of 400 level farms gives for its scatter."""
    past = farms_of(network, farms=400, weeks=12, seed=99)
    found = fit_week_scatter(weeks_of(past.counts, 7.0, np.arange(12) * 7.0), 1.5)
    assert found is not None
    return found


def weeks_to_first_signal(found: OwnPast) -> float:
    """Told weeks up to each farm's first signal, over the number of first signals: a run length, whatever was cut."""
    told, out = found.word != "", np.isin(found.word, OUTSIDE)
    first = np.where(out.any(axis=1), out.argmax(axis=1), out.shape[1])
    waited = (told & (np.arange(out.shape[1])[None, :] <= first[:, None])).sum()
    return float(waited / max(out.any(axis=1).sum(), 1))


def test_only_the_last_weeks_may_be_fitted():
    counts = farm([40.0, 44, 37, 41, 38, 45, 40, 60, 90, 130])
    every, last = windows(counts), windows(counts, back=np.zeros(4, np.int64))
    np.testing.assert_array_equal(last.effects, every.effects[-4:])
    np.testing.assert_array_equal(last.dates, every.dates[-4:])
    with pytest.raises(ValueError, match="back must not have more entries"):
        windows(counts, back=np.zeros(11, np.int64))


class TestWhatItSays:
    def test_a_doubling_after_a_level_past_is_above(self):
        found = chart(farm([*LEVEL[:8], 60, 80, 110]))
        assert found.word[0, -1] == "above"
        assert found.smoothed[0, -1] > found.high[0, -1] > found.expected[0, -1] > found.low[0, -1]

    def test_a_fall_is_below(self):
        assert chart(farm([*LEVEL[:8], 20, 15, 10])).word[0, -1] == "below"

    def test_a_level_farm_is_within(self):
        found = chart(farm(LEVEL))
        assert set(found.word[0, 6:]) == {"within"}
        assert set(found.basis[0, 6:]) == {"weeks"}

    def test_weeks_outside_are_counted_in_a_row(self):
        found = chart(farm([*LEVEL[:8], 110, 120, 130]))
        assert found.weeks_outside[0].tolist() == [0] * 8 + [1, 2, 3]

    def test_a_level_that_lasts_becomes_the_past(self):
        """After twelve weeks at the new level, the farm is like its own past again."""
        found = chart(farm([*LEVEL, *(3 * LEVEL), *(3 * LEVEL[:2])]))
        assert found.word[0, 13] == "above"
        assert found.word[0, -1] == "within"

    def test_one_odd_week_is_out_for_one_week(self):
        found = chart(farm([*LEVEL[:8], 2_000, *LEVEL[8:]]))
        assert found.word[0, 8] == "above"
        assert found.word[0, 9] == "within"

    def test_the_unit_of_the_limits_is_that_of_the_counts(self):
        found = chart(farm(LEVEL))
        assert 30 < np.exp(found.low[0, -1]) < 40 < np.exp(found.high[0, -1]) < 55

    def test_a_run_length_of_fifty_weeks_is_stated(self):
        found = chart(farm(LEVEL))
        assert found.run_length == 50
        assert average_run_length(0.4, limit_for(0.4, found.run_length)) == pytest.approx(50, abs=1e-6)


class TestWhatIsMissing:
    def test_six_weeks_must_have_been_counted_before(self):
        found = chart(farm(LEVEL))
        assert found.reason[0, :6].tolist() == ["too_few_weeks"] * 6
        assert set(found.reason[0, 6:]) == {""}
        assert np.isnan(found.smoothed[0, :6]).all()
        assert np.isnan(found.low[0, :6]).all()

    def test_a_gap_stays_a_gap_and_is_no_zero(self):
        found = chart(farm([*LEVEL[:8], LOST, *LEVEL[9:]]))
        assert found.reason[0, 8] == "not_counted"
        assert found.word[0, 8] == ""
        assert np.isnan(found.smoothed[0, 8])
        assert found.word[0, 9] == "within"

    def test_a_row_of_weeks_outside_passes_over_a_gap(self):
        found = chart(farm([*LEVEL[:8], 110, 120, LOST, 130]))
        assert found.weeks_outside[0, 8:].tolist() == [1, 2, 0, 3]

    def test_a_lost_station_is_not_an_average_one(self):
        """The high station is lost in the newest week: the others are as ever, and so is the farm."""
        weeks = farm(LEVEL)
        weeks[0, 0] *= 20
        weeks[0, 0, -1] = LOST
        assert chart(weeks).word[0, -1] == "within"

    def test_no_week_is_judged_by_what_came_later(self):
        weeks = farm([*LEVEL, 500, 5, 900])
        short, long = chart(weeks[:, :, :12]), chart(weeks)
        np.testing.assert_allclose(long.smoothed[:, :12], short.smoothed, rtol=1e-9)
        assert (long.word[:, :12] == short.word).all()

    def test_after_a_winter_the_line_starts_anew(self):
        found = chart(farm([*LEVEL[:8], 110, *[LOST] * 26, *LEVEL[:8]]))
        assert found.reason[0, 9:35].tolist() == ["not_counted"] * 26
        assert found.reason[0, 35:41].tolist() == ["too_few_weeks"] * 6
        alone = chart(farm(LEVEL[:8]))
        np.testing.assert_allclose(found.smoothed[0, -2:], alone.smoothed[0, -2:], rtol=1e-9)

    @pytest.mark.parametrize(
        ("weeks", "reason"),
        [
            ([0.0] * 8, "all_zero"),
            ([1.0, 0, 0, 1, 0, 0, 1, 0], "too_few_counts"),
            ([LOST] * 8, "not_counted"),
            ([40.0, *[LOST] * 6, 40], "too_few_weeks"),
        ],
    )
    def test_too_little_is_a_result_with_a_reason(self, weeks, reason):
        found = chart(farm(weeks, stations=2))
        assert found.reason[0, -1] == reason
        assert found.word[0, -1] == ""
        assert np.isnan(found.smoothed[0, -1])

    def test_weeks_without_a_common_station_are_not_compared(self):
        weeks = np.full((1, 2, 8), LOST)
        weeks[0, 0, :7], weeks[0, 1, 7] = LEVEL[:7], 40
        assert chart(weeks).reason[0, -1] == "not_comparable"

    def test_constant_counts_give_no_warning(self):
        assert chart(farm([40.0] * 10)).word[0, -1] == "within"


class TestProperties:
    @settings(max_examples=20, deadline=None)
    @given(st.randoms(use_true_random=False))
    def test_the_order_of_stations_is_nothing(self, random):
        counts = farms_of(Network(stations=5, missing=0.2), farms=2, weeks=14).counts
        order = list(range(5))
        random.shuffle(order)
        one, other = chart(counts), chart(counts[:, order])
        np.testing.assert_allclose(one.smoothed, other.smoothed, rtol=1e-7)
        assert (one.word == other.word).all()

    def test_each_farm_is_judged_alone(self):
        counts = farms_of(Network(missing=0.1), farms=5, weeks=16).counts
        together, alone = chart(counts), chart(counts[2:3])
        np.testing.assert_allclose(together.smoothed[2], alone.smoothed[0], rtol=1e-9)

    def test_longer_exposure_with_as_many_more_counts_is_the_same(self):
        counts = farms_of(Network(), farms=3, weeks=12).counts
        dates = np.arange(12) * 7.0
        one = score_newest(windows_from(counts, np.full(counts.shape, 7.0), dates, np.inf))
        other = score_newest(windows_from(counts, np.full(counts.shape, 14.0), dates, np.inf))
        np.testing.assert_allclose(one.score, other.score, atol=1e-6)
        np.testing.assert_allclose(one.expected, other.expected + np.log(2), atol=1e-6)


class TestTheSeason:
    WEEKS = 26
    SHAPE = 1.5 * np.sin(np.pi * np.arange(26) / 25)

    def two_seasons(self, network, farms, *, rise=0.0, seed=7):
        """A summer, half a year without counts, and a second summer of the same shape at another height."""
        growth = np.zeros((farms, 52 + self.WEEKS))
        growth[:, : self.WEEKS] = self.SHAPE
        growth[:, 52:] = self.SHAPE + 0.7
        growth[:, -8:] += rise * np.arange(1, 9)
        counts = farms_of(network, farms=farms, weeks=growth.shape[1], growth=growth, seed=seed).counts
        counts[:, :, self.WEEKS : 52] = LOST
        return counts

    def season(self, counts, years=1):
        return season_from([windows(counts, back=52 * year - 1, length=15) for year in range(1, years + 1)])

    def test_in_a_second_season_the_time_of_the_year_is_expected(self):
        counts = self.two_seasons(Network(shock=0.15), 60)
        by_season, by_weeks = chart(counts, None, self.season(counts)), chart(counts)
        assert (by_season.basis[:, 58:] == "season").all()
        wrong = [np.isin(found.word[:, 58:], OUTSIDE).mean() for found in (by_season, by_weeks)]
        print(f"\nsecond season, weeks outside: {wrong[0]:.3f} by season, {wrong[1]:.3f} by the last weeks")
        assert wrong[0] < 0.04
        assert wrong[1] > 5 * wrong[0]

    def test_a_rise_beyond_the_season_is_above(self):
        counts = self.two_seasons(Network(shock=0.15), 60, rise=np.log(2) / 2)
        found = chart(counts, None, self.season(counts))
        assert (found.word[:, -3] == "above").mean() > 0.9

    def test_a_first_season_has_only_its_own_weeks(self):
        counts = self.two_seasons(Network(), 3)[:, :, : self.WEEKS]
        found = chart(counts, None, self.season(counts))
        assert set(found.basis.ravel()) == {"weeks", ""}

    def test_an_earlier_season_with_few_weeks_is_not_used(self):
        counts = self.two_seasons(Network(), 3)
        counts[:, :, 4:26] = LOST
        assert set(chart(counts, None, self.season(counts)).basis[:, 52:].ravel()) == {"weeks", ""}

    def test_two_earlier_seasons_are_averaged_whatever_their_heights(self):
        first, later = self.two_seasons(Network(shock=0.15), 40), self.two_seasons(Network(shock=0.15), 40, seed=8)
        counts = np.concatenate([first[:, :, :52] * 5, later], axis=2)
        season = self.season(counts, years=2)
        found = chart(counts, None, season)
        assert (found.basis[:, 110:] == "season").all()
        assert np.isin(found.word[:, 104:], OUTSIDE).mean() < 0.05
        one = self.season(counts, years=1)
        last = slice(-1, None)
        assert (season.covariance[last, -1, -1] < one.covariance[last, -1, -1]).all()

    def test_a_groups_season_is_taken_as_known(self):
        counts = self.two_seasons(Network(shock=0.15), 40)[:, :, : self.WEEKS]
        weeks = np.arange(self.WEEKS)[:, None] + np.arange(-12, 1)[None, :]
        level = np.where(weeks >= 0, self.SHAPE[np.maximum(weeks, 0)], LOST)
        known = SeasonLevel(np.tile(level, (40, 1)), np.zeros((40 * self.WEEKS, 13, 13)))
        found = chart(counts, None, known)
        assert set(found.basis[:, 6:].ravel()) == {"season"}
        assert np.isin(found.word[:, 6:], OUTSIDE).mean() < 0.04


class TestHowOften:
    """C: simulated farms; a level farm first leaves the limits after about fifty weeks, however short its past."""

    def test_level_farms_leave_the_limits_about_once_in_fifty_weeks(self):
        network = Network(shock=0.3, missing=0.1)
        found = chart(farms_of(network, farms=250, weeks=40).counts, scatter_of(network))
        waited = weeks_to_first_signal(found)
        print(f"\nweeks to the first signal, 9 stations, shock sd 0.3: {waited:.1f}")
        assert 40 < waited < 62

    def test_quiet_and_noisy_farms_have_the_same_chance(self):
        """The farm's own scale: where shocks differ threefold between farms, their false signals do not."""
        network = Network(shock=0.3, stations=25, unlike=0.5)
        drawn = farms_of(network, farms=240, weeks=40)
        found = chart(drawn.counts, scatter_of(network))
        third = np.argsort(drawn.shocks)
        waited = [
            weeks_to_first_signal(
                OwnPast(**{n: v[rows] if hasattr(v, "ndim") else v for n, v in found.__dict__.items()})
            )
            for rows in (third[:80], third[-80:])
        ]
        print(f"\nquietest and noisiest third: {waited[0]:.1f} and {waited[1]:.1f} weeks")
        assert all(35 < each < 75 for each in waited)

    def test_a_farm_that_doubles_every_two_weeks_is_above_within_four_weeks(self):
        network = Network(shock=0.3, missing=0.1)
        counts = farms_of(network, farms=300, weeks=16, growth=rise_of(16, lasts=4)).counts
        above = chart(counts, scatter_of(network)).word[:, 12:] == "above"
        named = [float(above[:, :weeks].any(axis=1).mean()) for weeks in (2, 3, 4)]
        print(f"\nabove within 2, 3, 4 weeks of a rise: {named}")
        assert named[1] > 0.48
        assert named[2] > 0.82

    @pytest.mark.full
    @pytest.mark.parametrize("stations", [5, 9, 25])
    @pytest.mark.parametrize(("shock", "stays"), [(0.0, 0.0), (0.15, 0.0), (0.15, 0.5), (0.3, 0.0), (0.3, 0.5)])
    @pytest.mark.parametrize("missing", [0.0, 0.2])
    def test_in_every_cell(self, stations, shock, stays, missing):
        network = Network(stations=stations, shock=shock, stays=stays, missing=missing)
        counts = farms_of(network, farms=400, weeks=60, seed=5).counts
        waited = weeks_to_first_signal(chart(counts, scatter_of(network)))
        alone = weeks_to_first_signal(chart(counts))
        print(
            f"\n{stations} stations, shock {shock}, stays {stays}, missing {missing}: {waited:.1f}, alone {alone:.1f}"
        )
        assert 38 < waited < 66
        assert alone > 31


class TestBadInput:
    def test_bad_counts_are_refused_by_name(self):
        with pytest.raises(ValueError, match="counts"):
            windows(farm([-1.0] * 8))
        with pytest.raises(ValueError, match="counts"):
            windows_from(np.zeros((2, 3)), np.zeros((2, 3)), np.zeros(3), 1.5)
        with pytest.raises(ValueError, match="days"):
            windows_from(farm(LEVEL), np.zeros(3), np.arange(12.0), 1.5)
        with pytest.raises(ValueError, match="back"):
            windows(farm(LEVEL), back=-1)

    def test_the_rest_too(self):
        scores = score_newest(windows(farm(LEVEL)))
        with pytest.raises(ValueError, match="n_weeks"):
            own_past(scores, 5)
        with pytest.raises(ValueError, match="weight"):
            smoothed(np.zeros((1, 2)), 0.0, 0.0)
        with pytest.raises(ValueError, match="years"):
            season_from([])
        with pytest.raises(ValueError, match="season"):
            score_newest(windows(farm(LEVEL)), None, SeasonLevel(np.zeros((1, 13)), np.zeros((1, 13, 13))))

    @pytest.mark.parametrize(
        "bad", [(0.0, 2.0, 0.0), (1.5, 2.0, 0.0), (0.4, 0.0, 0.0), (0.4, 9.0, 0.0), (0.4, 2.0, np.nan)]
    )
    def test_a_run_length_has_its_bounds(self, bad):
        with pytest.raises(ValueError, match=r"weight|limit|shift"):
            average_run_length(*bad)
        with pytest.raises(ValueError, match="run_length"):
            limit_for(0.4, 1.0)

    def test_without_farms_there_is_nothing(self):
        nothing = WeekScores(np.empty(0), np.empty(0), np.empty(0), np.empty(0, bool), np.empty(0, "U8"))
        assert own_past(nothing, 4).word.shape == (0, 4)


def test_few_farms_are_not_borrowed_from():
    """Figures of fewer than thirty farms count for nothing: the printed ones stand in."""
    counts = farms_of(Network(), farms=2, weeks=12).counts
    few = WeekScatter(shock=2.0, stays=0.9, counting=3.0, growth=0.1, degrees=5.0, k=1.5, farms=29)
    np.testing.assert_array_equal(chart(counts, few).smoothed, chart(counts).smoothed)
