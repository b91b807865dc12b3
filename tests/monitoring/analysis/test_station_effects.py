"""Which stations are the worst, how sure that is, and what must not pass for a bad station."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitoring.analysis.simulated_farms import Network, SimulatedFarms, simulate_farms
from monitoring.analysis.station_effects import StationEffects, station_effects

LOST = np.nan
# Nine stations, eight weeks: the first has three times as much as the others, which are about alike.
USUAL = np.array([22.0, 18, 25, 20, 16, 24, 19, 21])
FARM = np.array([3 * USUAL, *[np.roll(USUAL, shift) for shift in range(8)]])


def effects(counts, k=1.5, **options) -> StationEffects:
    return station_effects(counts, np.full(counts.shape, 7.0), k, **options)


def one_farm(table, **options) -> StationEffects:
    return effects(np.asarray(table, np.float64)[None], **options)


def farms_of(network, *, farms, weeks=8, seed=3) -> SimulatedFarms:
    """Simulated farms; NumPy's own gamma draws underflow now and then, nothing else may."""
    with np.errstate(under="ignore"):
        return simulate_farms(np.random.default_rng(seed), network, farms, weeks, np.zeros(weeks))


class TestWhatItSays:
    def test_a_station_with_three_times_as_much_is_the_highest(self):
        found = one_farm(FARM)
        assert found.effect[0].argmax() == 0
        assert found.highest[0, 0] > 0.9
        assert found.worst[0] == 2

    def test_effects_add_up_to_nothing(self):
        assert one_farm(FARM).effect.sum() == pytest.approx(0, abs=1e-9)

    def test_it_is_shrunk_towards_the_farm(self):
        """The plain log ratio to the usual (geometric) station is ln 3 x 8/9."""
        found = one_farm(FARM)
        assert 0.5 < found.effect[0, 0] < np.log(3) * 8 / 9

    def test_of_many_that_are_alike_none_is_surely_the_highest(self):
        found = one_farm(FARM[1:])
        assert found.highest.max() < 0.3

    def test_probabilities_add_up_to_the_number_of_the_worst(self):
        """To what a grid of a fortieth of a log can tell."""
        found = one_farm(FARM)
        assert found.highest.sum() == pytest.approx(1, abs=1e-3)
        assert found.among_worst.sum() == pytest.approx(2, abs=2e-3)

    def test_a_zero_is_a_low_count(self):
        table = FARM.copy()
        table[4] = 0
        found = one_farm(table)
        assert found.effect[0].argmin() == 4
        assert found.effect[0, 4] < -1
        assert found.among_worst[0, 4] < 0.001

    def test_an_at_least_count_says_this_or_more(self):
        table, bound = FARM.copy(), np.zeros((1, *FARM.shape), bool)
        bound[0, 3] = True
        plain, more = one_farm(table), one_farm(table, at_least=bound)
        assert more.effect[0, 3] > plain.effect[0, 3] + 0.3
        assert more.among_worst[0, 3] > plain.among_worst[0, 3]

    def test_the_interval_holds_the_effect(self):
        found = one_farm(FARM)
        for level in (0.8, 0.95):
            low, high = found.interval(level)
            assert (low < found.effect).all()
            assert (found.effect < high).all()
        assert (found.interval(0.95)[0] < found.interval(0.8)[0]).all()


class TestWhatIsMissing:
    def test_a_station_counted_once_is_shrunk_more_than_one_counted_eight_times(self):
        table = FARM.copy()
        table[1] = table[0]
        table[1, 1:] = LOST
        found = one_farm(table)
        assert found.weeks_counted[0, :2].tolist() == [8, 1]
        assert 0 < found.effect[0, 1] < 0.7 * found.effect[0, 0]
        assert found.spread[0, 1] > 1.5 * found.spread[0, 0]

    def test_a_station_without_a_count_is_not_an_average_one(self):
        table = FARM.copy()
        table[5] = LOST
        found, without = one_farm(table), one_farm(np.delete(table, 5, axis=0))
        assert np.isnan(found.effect[0, 5])
        assert np.isnan(found.among_worst[0, 5])
        np.testing.assert_allclose(np.delete(found.effect, 5, axis=1), without.effect, atol=1e-9)
        np.testing.assert_allclose(np.delete(found.among_worst, 5, axis=1), without.among_worst, atol=1e-9)

    def test_a_station_counted_in_high_weeks_only_is_no_high_station(self):
        weeks = np.array([1.0, 1, 1, 1, 8, 8, 8, 8])
        table = FARM[1:] * weeks
        table[0, :4] = LOST
        assert abs(one_farm(table).effect[0, 0]) < 0.2

    @pytest.mark.parametrize(
        ("table", "reason"),
        [
            (np.full((9, 8), LOST), "no_counts"),
            (FARM[:2], "too_few_stations"),
            (FARM[:, :3], "too_few_weeks"),
            (np.zeros((9, 8)), "all_zero"),
            (np.where(np.eye(8, dtype=bool), 20.0, LOST), "not_comparable"),
        ],
    )
    def test_too_little_is_a_result_with_a_reason(self, table, reason):
        found = one_farm(table)
        assert found.reason[0] == reason
        for values in (found.effect, found.spread, found.among_worst, found.highest, found.ends, found.between):
            assert np.isnan(values).all()

    def test_padding_is_nothing(self):
        few, many = FARM[:5], FARM
        padded = np.full((2, 9, 8), LOST)
        padded[0, :5], padded[1] = few, many
        found, alone = station_effects(padded, np.full(padded.shape, 7.0), 1.5), one_farm(few)
        np.testing.assert_allclose(found.effect[0, :5], alone.effect[0], atol=1e-9)
        np.testing.assert_allclose(found.among_worst[0, :5], alone.among_worst[0], atol=1e-9)
        assert found.worst.tolist() == [1, 2]


class TestProperties:
    @settings(max_examples=20, deadline=None)
    @given(st.randoms(use_true_random=False))
    def test_the_order_of_stations_is_nothing(self, random):
        counts = farms_of(Network(stations=6, missing=0.2), farms=2).counts
        order = list(range(6))
        random.shuffle(order)
        one, other = effects(counts), effects(counts[:, order])
        np.testing.assert_allclose(one.effect[:, order], other.effect, atol=1e-7)
        np.testing.assert_allclose(one.among_worst[:, order], other.among_worst, atol=1e-7)

    @pytest.mark.parametrize("k", [1.5, np.inf])
    def test_days_in_which_all_is_counted_in_are_nothing(self, k):
        """Twice the days of every station is another unit of the rate."""
        counts = farms_of(Network(), farms=3).counts
        one = station_effects(counts, np.full(counts.shape, 7.0), k)
        other = station_effects(counts, np.full(counts.shape, 14.0), k)
        np.testing.assert_allclose(one.effect, other.effect, atol=1e-7)

    def test_the_same_call_gives_the_same(self):
        one, other = one_farm(FARM), one_farm(FARM)
        np.testing.assert_array_equal(one.among_worst, other.among_worst)

    def test_with_more_weeks_less_is_shrunk(self):
        short, long = one_farm(FARM[:, :4]), one_farm(FARM)
        assert short.effect[0, 0] < long.effect[0, 0]


class TestHowOften:
    """C: simulated farms whose true levels are known."""

    def figures(self, network, *, farms, weeks=8, k=1.5):
        drawn = farms_of(network, farms=farms, weeks=weeks)
        parts = [effects(drawn.counts[start : start + 50], k) for start in range(0, farms, 50)]
        effect, ends, among, worst = (
            np.concatenate([getattr(part, name) for part in parts])
            for name in ("effect", "ends", "among_worst", "worst")
        )
        told = ~np.isnan(effect)
        usual = np.where(told, drawn.places, 0.0).sum(axis=1) / np.maximum(told.sum(axis=1), 1)
        truth = drawn.places - usual[:, None]
        covered = ((truth >= ends[:, :, 0]) & (truth <= ends[:, :, 3]))[told].mean()
        rank = np.where(told, -truth, np.inf).argsort(axis=1).argsort(axis=1)
        right = (rank < worst[:, None])[told]
        return float(covered), among[told], right

    @pytest.mark.parametrize(("stations", "farms"), [(5, 300), (9, 300), (25, 80)])
    def test_intervals_cover_and_probabilities_hold(self, stations, farms):
        covered, told, right = self.figures(Network(stations=stations, missing=0.2), farms=farms)
        error = expected_calibration_error(told, right)
        sure = right[told >= 0.9].mean()
        print(
            f"\n{stations} stations: 95 % intervals cover {covered:.3f}, error {error:.3f}, of nine in ten {sure:.2f}"
        )
        assert 0.93 < covered < 0.97
        assert error < 0.05
        assert sure > 0.83

    @pytest.mark.full
    @pytest.mark.parametrize("places", [0.3, 0.6, 1.0])
    @pytest.mark.parametrize("stations", [5, 9, 25])
    @pytest.mark.parametrize("missing", [0.0, 0.2])
    def test_in_every_cell(self, places, stations, missing):
        network = Network(stations=stations, missing=missing, places=places)
        covered, told, right = self.figures(network, farms=1_000)
        error = expected_calibration_error(told, right)
        print(f"\n{stations} stations, sd {places}, missing {missing}: cover {covered:.3f}, error {error:.3f}")
        assert 0.92 < covered < 0.98
        assert error < 0.05

    @pytest.mark.full
    @pytest.mark.parametrize("true_k", [0.8, 1.5, 3.0])
    def test_with_another_k_than_the_true_one(self, true_k):
        """The cost of a k that is not the farm's, printed: intervals rest on it."""
        covered, told, right = self.figures(Network(k=true_k, missing=0.2), farms=1_000)
        print(f"\ntrue k {true_k}, taken for 1.5: cover {covered:.3f}, {expected_calibration_error(told, right):.3f}")
        assert 0.82 < covered < 0.995


def expected_calibration_error(told, right):
    """The mean difference, over tenths, between the probability told and the share that was right."""
    tenth = np.minimum((told * 10).astype(int), 9)
    off = [
        abs(told[tenth == each].mean() - right[tenth == each].mean()) * (tenth == each).mean() for each in set(tenth)
    ]
    return float(sum(off))


class TestBadInput:
    @pytest.mark.parametrize(("counts", "days", "k", "name"), [
        (np.full((1, 3, 4), -1.0), np.full((1, 3, 4), 7.0), 1.5, "counts"),
        (np.full((1, 3, 4), np.inf), np.full((1, 3, 4), 7.0), 1.5, "counts"),
        (np.full((3, 4), 1.0), np.full((3, 4), 7.0), 1.5, "counts"),
        (np.full((1, 3, 4), 5.0), np.zeros((1, 3, 4)), 1.5, "days"),
        (np.full((1, 3, 4), 5.0), np.full((1, 3, 5), 7.0), 1.5, "days"),
        (np.full((1, 3, 4), 5.0), np.full((1, 3, 4), 7.0), 0.0, "k"),
    ])  # fmt: skip
    def test_it_is_refused_by_name(self, counts, days, k, name):
        with pytest.raises(ValueError, match=f"^{name} "):
            station_effects(counts, days, k)

    def test_so_are_bounds_of_another_shape_and_other_levels(self):
        with pytest.raises(ValueError, match="at_least"):
            one_farm(FARM, at_least=np.zeros((1, 2, 3), bool))
        with pytest.raises(ValueError, match="level"):
            one_farm(FARM).interval(0.5)

    def test_without_farms_there_is_nothing(self):
        assert station_effects(np.empty((0, 3, 4)), np.empty((0, 3, 4)), 1.5).effect.shape == (0, 3)
