"""The simulated weather, flies and counts behave as a season does."""

import numpy as np
import pytest

from monitoring.analysis.simulated_counts import (
    Hangings,
    as_counted,
    catchability,
    counts_in_traps,
    counts_on_cards,
    counts_on_legs,
    draw_counts,
    without_lost,
)
from monitoring.analysis.simulated_flies import (
    HOUSE_FLY,
    STABLE_FLY,
    Places,
    activity_of,
    simulate_flies,
    usual_places,
    with_weekly_shock,
)
from monitoring.analysis.simulated_weather import HeatWave, season_weather

SEASON = np.arange("2026-04-01", "2026-10-01", dtype="M8[D]")
N = SEASON.size


@pytest.fixture
def rng():
    return np.random.default_rng(20260401)


@pytest.fixture(autouse=True)
def draws_may_underflow():
    """NumPy's own gamma draws underflow now and then; nothing else may."""
    with np.errstate(under="ignore"):
        yield


@pytest.fixture
def summer(rng):
    """The temperatures of one region in three rows."""
    weather = season_weather(rng, SEASON, 1)
    return np.repeat(weather.lowest, 3, axis=0), np.repeat(weather.highest, 3, axis=0)


class TestWeather:
    def test_the_same_seed_gives_the_same_weather(self):
        one, other = (season_weather(np.random.default_rng(4), SEASON, 2) for _ in range(2))
        assert (one.lowest == other.lowest).all()

    def test_summer_is_warmer_than_spring_and_nights_cooler_than_days(self, rng):
        weather = season_weather(rng, SEASON, 20)
        assert (weather.lowest < weather.highest).all()
        assert 20 < weather.mean[:, 92:123].mean() < 25
        assert 4 < weather.mean[:, :30].mean() < 12

    def test_neighbouring_regions_share_their_weather_but_not_all_of_it(self, rng):
        weather = season_weather(rng, SEASON, 2)
        together = np.corrcoef(np.diff(weather.mean, axis=1))[0, 1]
        assert 0.5 < together < 0.99

    def test_a_heat_wave_is_hot_while_it_lasts(self):
        quiet, hot = (
            season_weather(np.random.default_rng(7), SEASON, 1, heat_waves=waves)
            for waves in ((), (HeatWave(np.datetime64("2026-07-15"), days=8, hotter=7),))
        )
        extra = np.round(hot.highest - quiet.highest, 1)[0]
        assert (extra[105:113] > 0).all()
        assert extra[:105].max() == extra[113:].max() == 0
        assert extra.max() == pytest.approx(7, abs=0.2)


class TestFlies:
    def test_a_season_rises_to_summer_and_falls_to_autumn(self, summer):
        adults = simulate_flies(HOUSE_FLY, *summer, usual_places(np.ones(3), N)).adults[0]
        assert adults[40] < adults[75] < adults[105:150].max()
        assert adults[-1] < adults[105:150].max()

    def test_crowding_keeps_them_finite_and_richer_places_hold_more(self, summer):
        peaks = simulate_flies(HOUSE_FLY, *summer, usual_places(np.array([0.5, 1, 2]), N)).adults.max(axis=1)
        assert peaks[0] < peaks[1] < peaks[2] < 4 * peaks[0] * 2

    def test_a_corner_never_cleaned_shows_after_a_generation_and_not_before(self, summer):
        places = usual_places(np.ones(3), N).with_corner(1, 90, 4.0)
        adults = simulate_flies(HOUSE_FLY, *summer, places).adults
        assert adults[1, 95] == pytest.approx(adults[0, 95], rel=1e-3)
        assert adults[1, 130] > 1.7 * adults[0, 130]
        assert (adults[2] == adults[0]).all()

    def test_a_clean_out_that_works_shows_and_one_that_fails_does_not(self, summer):
        places = usual_places(np.ones(3), N).with_clean_out(1, 100).with_clean_out(2, 100, share=0.1)
        adults = simulate_flies(HOUSE_FLY, *summer, places).adults
        assert adults[1, 118] < 0.6 * adults[0, 118]
        assert adults[2, 118] > 0.85 * adults[0, 118]

    def test_a_clean_out_leaves_the_pupae(self, summer):
        places = usual_places(np.ones(3), N).with_clean_out(1, 100, share=1.0)
        flies = simulate_flies(HOUSE_FLY, *summer, places)
        assert flies.maggots[1, 100] == 0
        assert flies.pupae[1, 100] == pytest.approx(flies.pupae[0, 100], rel=0.25)
        assert flies.emerged[1, 101] == pytest.approx(flies.emerged[0, 101])

    def test_treated_adults_are_fewer_while_it_lasts(self, summer):
        places = usual_places(np.ones(3), N).with_adults_treated(1, 100, 10)
        assert places.survival[1, 99:111].tolist() == [0.83] + [0.73] * 10 + [0.83]
        adults = simulate_flies(HOUSE_FLY, *summer, places).adults
        assert adults[1, 109] < 0.8 * adults[0, 109]

    def test_nothing_hatches_where_there_is_no_place_for_it(self, summer):
        flies = simulate_flies(STABLE_FLY, *summer, usual_places(np.zeros(3), N))
        assert flies.eggs.sum() == flies.emerged.sum() == 0
        assert flies.adults.max() > 0

    def test_nothing_is_random(self, summer):
        one, other = (simulate_flies(STABLE_FLY, *summer, usual_places(np.ones(3), N)) for _ in range(2))
        assert (one.adults == other.adults).all()

    def test_cold_days_have_no_activity(self, summer):
        flies = simulate_flies(HOUSE_FLY, *summer, usual_places(np.ones(3), N))
        cold = np.full_like(summer[0], 8.0)
        assert activity_of(flies, cold, cold).max() == 0
        assert (activity_of(flies, *summer) >= 0).all()

    def test_a_week_moves_all_facilities_of_a_farm_together(self, rng):
        shocked = with_weekly_shock(rng, np.ones((4, 20)), np.array([0, 0, 1, 1]), scatter=0.3)
        assert (shocked[0] == shocked[1]).all() and (shocked[0] != shocked[2]).all()
        assert np.unique(shocked[0]).size == 3
        assert (with_weekly_shock(rng, np.ones((2, 7)), np.array([0, 1]), scatter=0.0) == 1).all()

    @pytest.mark.parametrize(
        ("capacity", "removed", "survival", "argument"),
        [(-1, 0, 0.8, "capacity"), (np.nan, 0, 0.8, "capacity"), (1, 1.2, 0.8, "removed"), (1, 0, np.nan, "survival")],
    )
    def test_bad_places_are_refused_by_name(self, capacity, removed, survival, argument):
        with pytest.raises(ValueError, match=rf"^{argument} must"):
            Places(*(np.full((1, 3), float(each)) for each in (capacity, removed, survival)))

    def test_missing_temperatures_are_refused(self):
        unknown = np.full((1, 3), np.nan)
        with pytest.raises(ValueError, match=r"must be finite"):
            simulate_flies(HOUSE_FLY, unknown, unknown, usual_places(np.ones(1), 3))


def weekly(stations, weeks, facility=0):
    """Each of so many stations hung for each week."""
    station, week = (each.ravel() for each in np.meshgrid(np.arange(stations), np.arange(weeks)))
    return Hangings(station, np.full(station.shape, facility), 7 * week, 7 * week + 7)


class TestCounts:
    def test_counts_scatter_as_negative_binomial_with_k_one_and_a_half(self, rng):
        counts = draw_counts(rng, np.full(200_000, 40.0))
        assert counts.mean() == pytest.approx(40, rel=0.01)
        assert counts.var() == pytest.approx(40 + 40**2 / 1.5, rel=0.03)

    def test_stations_scatter_by_a_factor_and_by_their_siting(self, rng):
        n = 100_000
        plain = catchability(rng, np.zeros(n, bool), np.full(n, "nothing"))
        assert np.log(plain).std() == pytest.approx(0.6, rel=0.02)
        assert plain.mean() == pytest.approx(1, rel=0.02)
        assert catchability(rng, np.ones(n, bool), np.full(n, "nothing")).mean() < 0.5
        assert catchability(rng, np.zeros(n, bool), np.full(n, "milk")).mean() > 2

    def test_twice_as_long_up_is_twice_as_many(self, rng):
        n = 100_000
        zeros = np.zeros(n, np.int64)
        short, long = (
            counts_on_cards(rng, np.ones((1, 20)), Hangings(zeros, zeros, zeros, zeros + days), np.ones(1)).mean()
            for days in (5, 10)
        )
        assert long == pytest.approx(2 * short, rel=0.03)

    def test_traps_follow_cards_by_one_to_two_weeks(self, rng):
        activity = np.where((np.arange(70) >= 28) & (np.arange(70) < 35), 1.0, 0.0)[None]
        cards, traps = (
            draw(rng, activity, weekly(500, 10), np.ones(500)).reshape(10, 500).mean(axis=1)
            for draw in (counts_on_cards, counts_in_traps)
        )
        assert cards.argmax() == 4
        assert traps.argmax() in (5, 6)
        assert traps[:5].sum() == 0

    def test_legs_are_counted_animal_by_animal(self, rng):
        legs = counts_on_legs(rng, np.full((2, 10), 0.2), np.array([0, 1]), np.array([3, 9]), animals=15)
        assert legs.shape == (2, 15)
        assert (legs == legs.round()).all()

    def test_a_lost_card_has_a_reason_and_no_count(self, rng):
        counts, reason = without_lost(rng, np.full(5000, 20.0), share=0.1)
        assert 0.08 < np.isnan(counts).mean() < 0.12
        assert ((reason != "") == np.isnan(counts)).all()

    def test_a_full_card_is_counted_by_the_quarter(self, rng):
        counted, part = as_counted(rng, np.array([100.0, 800.0, np.nan]))
        assert part.tolist() == [1, 0.25, 1]
        assert counted[0] == 100 and 150 < counted[1] < 250 and np.isnan(counted[2])

    @pytest.mark.parametrize(("hung", "taken", "argument"), [(3, 3, "taken"), (-1, 4, "hung"), (3, 99, "taken")])
    def test_bad_exposures_are_refused_by_name(self, rng, hung, taken, argument):
        zero = np.zeros(1, np.int64)
        with pytest.raises(ValueError, match=rf"^{argument} must"):
            counts_on_cards(rng, np.ones((1, 20)), Hangings(zero, zero, zero + hung, zero + taken), np.ones(1))


def test_a_season_looks_like_one(rng):
    """Cards of a usual barn show tens of specks a week in summer, beside a dirty corner a hundred and more."""
    weather = season_weather(rng, SEASON, 1)
    lowest, highest = np.repeat(weather.lowest, 2, axis=0), np.repeat(weather.highest, 2, axis=0)
    places = usual_places(np.ones(2), N).with_corner(1, 70, 4.0)
    activity = activity_of(simulate_flies(HOUSE_FLY, lowest, highest, places), lowest, highest)
    usual, corner = (
        counts_on_cards(rng, activity, weekly(40, 26, facility), np.ones(40)).reshape(26, 40).mean(axis=1)
        for facility in (0, 1)
    )
    assert 20 < usual[13:21].max() < 150
    assert 100 < corner[13:21].max() < 500
    assert usual[:3].max() < 15
