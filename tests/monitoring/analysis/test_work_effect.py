"""Whether a work helped: against the other stations of the farm, and how sure that is."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.analysis.work_effect import Outside, work_effects
from server.calibrate.work_effect import figures

NONE = float("nan")
WEEKS = np.array([-3, -2, -1, 1, 2, 3])
DONE = [[100, 110, 95, 50, 52, 47], [20, 19, 22, 10, 9, 11]]
OTHERS = [[60, 64, 58, 61, 59, 63], [31, 30, 28, 33, 29, 30]]


def effect(done, others=(), weeks=WEEKS, effort=7.0):
    counts = np.array([[*done, *others]], float)
    treated = np.array([[True] * len(done) + [False] * len(others)])
    return work_effects(counts, np.full(counts.shape, effort), treated, np.asarray(weeks))


def times(rows, factors):
    return (np.array(rows, float) * factors).tolist()


def test_half_is_left_where_it_was_done():
    found = effect(DONE, OTHERS)
    interval = found.interval()
    assert found.compared[0] and found.reason[0] == ""
    assert found.ratio[0] == pytest.approx(0.5, abs=0.03)
    assert found.change[0] == pytest.approx(100 * (found.ratio[0] - 1))
    assert interval.low[0] < found.ratio[0] < interval.high[0] < 1
    assert (found.weeks_before[0], found.weeks_after[0], found.degrees[0]) == (3, 3, 4)
    assert (found.stations[0], found.others[0]) == (2, 2)


def test_weather_over_the_whole_farm_changes_nothing():
    weather = [1, 3, 0.5, 4, 0.25, 2]
    calm, wild = effect(DONE, OTHERS), effect(times(DONE, weather), times(OTHERS, weather))
    assert wild.ratio[0] == pytest.approx(calm.ratio[0], rel=0.02)
    # ... which before and after alone would take for the work.
    assert effect(times(DONE, weather)).ratio[0] > 1.2 * calm.ratio[0]


def test_without_a_comparison_it_says_so():
    found = effect(DONE)
    assert not found.compared[0] and found.reason[0] == "" and found.others[0] == 0
    assert found.ratio[0] == pytest.approx(0.5, abs=0.02)


def test_a_comparison_that_was_not_counted_after_is_none():
    others = times(OTHERS, [1, 1, 1, 1, NONE, NONE])
    found, alone = effect(DONE, others), effect(DONE)
    assert not found.compared[0]
    assert found.ratio[0] == pytest.approx(alone.ratio[0], rel=1e-9)


def test_a_comparison_that_caught_nothing_is_none():
    assert not effect(DONE, times(OTHERS, [1, 1, 1, 0, 0, 0])).compared[0]


def test_stations_that_come_and_go_do_not_move_it():
    came, went = [NONE, NONE, NONE, 900, 950, 870], [5, 4, 6, NONE, NONE, NONE]
    found = effect([*DONE, came], [*OTHERS, went])
    assert found.ratio[0] == pytest.approx(effect(DONE, OTHERS).ratio[0], rel=1e-9)
    assert (found.stations[0], found.others[0]) == (2, 2)


def test_a_lost_card_is_not_an_empty_one():
    holed = [DONE[0], [20, NONE, 22, 10, NONE, 11]]
    assert effect(holed, OTHERS).ratio[0] == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize(
    ("rows", "reason"),
    [
        ([[NONE] * 6], "no_counts"),
        ([[NONE, NONE, 30, 20, 20, 20]], "too_few_before"),
        ([[30, 30, 30, 20, NONE, NONE]], "too_few_after"),
        ([[30, 30, NONE, NONE, NONE, NONE], [NONE, NONE, NONE, 9, 9, 9]], "no_counts"),
        ([[30, 31, 29, 0, 0, 0]], "nothing_caught"),
        ([[4, 5, 3, 2, 1, 2], [4, 4, 4, 1, 3, 2]], "few_caught"),
        ([[30, NONE, NONE, 20, NONE, NONE], [NONE, 8, NONE, NONE, 9, NONE]], "not_comparable"),
    ],
)
def test_why_there_is_nothing_to_tell(rows, reason):
    found = effect(rows, OTHERS)
    assert found.reason[0] == reason
    assert np.isnan([found.ratio[0], found.standard_error[0], found.interval().low[0]]).all()


def test_some_zero_weeks_are_counts_like_the_rest():
    found = effect([[13, 12, 14, 0, 1, 0], [2, 3, 1, 0, 0, 1]], OTHERS)
    assert found.reason[0] == "" and 0.01 < found.ratio[0] < 0.6


def test_equal_weeks_are_no_surer_than_counting_is():
    found = effect([[40] * 6], [[50] * 6])
    assert found.standard_error[0] == pytest.approx((2 / 120 + 2 / 150) ** 0.5)


def test_a_rise_is_told_like_a_fall():
    assert effect(times(DONE, [1, 1, 1, 6, 6, 6]), OTHERS).interval().low[0] > 1


def test_many_works_at_once_are_as_each_alone():
    first, second = [*DONE, *OTHERS], times([*OTHERS, *DONE], [1, 2, 1, 1, 1, 0.5])
    counts = np.array([first, second, np.full((4, 6), NONE)])
    treated = np.array([[True, True, False, False]] * 3)
    found = work_effects(counts, np.full(counts.shape, 7.0), treated, WEEKS)
    assert found.ratio[0] == pytest.approx(effect(DONE, OTHERS).ratio[0], rel=1e-9)
    assert found.ratio[1] == pytest.approx(effect(second[:2], second[2:]).ratio[0], rel=1e-9)
    assert found.reason[2] == "no_counts"


@given(st.floats(0.1, 10), st.floats(0.1, 10))
def test_how_many_flies_a_place_has_does_not_matter_only_how_they_change(mine, other):
    found = effect(DONE, OTHERS, effort=7.0)
    scaled = work_effects(
        np.array([[*DONE, *OTHERS]], float),
        np.array([[[7 * mine] * 6] * 2 + [[7 * other] * 6] * 2]),
        np.array([[True, True, False, False]]),
        WEEKS,
    )
    assert scaled.ratio[0] == pytest.approx(found.ratio[0], rel=1e-6)


@given(st.permutations(range(2)))
def test_the_order_of_stations_changes_nothing(order):
    found = effect([DONE[i] for i in order], [OTHERS[i] for i in order])
    assert found.ratio[0] == pytest.approx(effect(DONE, OTHERS).ratio[0], rel=1e-9)


def test_bad_input_is_refused_by_name():
    with pytest.raises(ValueError, match=r"^counts must have three axes"):
        work_effects(np.zeros((2, 6)), np.ones((2, 6)), np.ones((2, 6), bool), WEEKS)
    with pytest.raises(ValueError, match=r"^treated must have the shape"):
        work_effects(np.zeros((1, 2, 6)), np.ones((1, 2, 6)), np.ones((1, 3), bool), WEEKS)
    with pytest.raises(ValueError, match=r"^weeks must rise"):
        effect(DONE, OTHERS, weeks=[-1, -2, -3, 1, 2, 3])
    with pytest.raises(ValueError, match=r"^counts must be numbers"):
        effect(times(DONE, -1), OTHERS)
    with pytest.raises(ValueError, match=r"^days must be numbers above zero"):
        effect(DONE, OTHERS, effort=0.0)
    with pytest.raises(ValueError, match=r"^level must"):
        effect(DONE, OTHERS).interval(1.0)


def test_more_places_make_it_surer_and_their_own_weather_falls_out():
    rng = np.random.default_rng(2)
    counts = rng.negative_binomial(1.5, 0.03, (200, 20, 6)).astype(float) + 1
    treated, place = np.broadcast_to(np.arange(20) < 5, (200, 20)), np.broadcast_to(np.arange(20) // 5, (200, 20))
    one, three = (work_effects(counts, np.full(counts.shape, 7.0), treated, WEEKS, each) for each in (None, place))
    assert (one.degrees == 4).all() and (three.degrees == 14).all()
    width = [np.median(np.log(found.interval().high / found.interval().low)) for found in (one, three)]
    assert width[1] < 0.85 * width[0]
    assert np.nanmean(three.log_ratio) == pytest.approx(0.0, abs=0.1)


def test_a_place_with_hardly_any_catch_is_no_comparison():
    quiet = [[2, 1, 2, 1, 2, 1]]
    place = np.array([[0, 0, 0, 0, 1]])
    counts = np.array([[*DONE, *OTHERS, *quiet]], float)
    treated = np.array([[True, True, False, False, False]])
    found = work_effects(counts, np.full(counts.shape, 7.0), treated, WEEKS, place)
    assert found.other_stations.tolist() == [[False, False, True, True, False]]
    assert found.ratio[0] == pytest.approx(effect(DONE, OTHERS).ratio[0], rel=1e-9)


def test_a_whole_farm_stands_beside_what_is_published_of_its_region():
    region = np.log([[100, 140, 90, 120, 130, 80]])
    weather = np.exp(region[0] - region[0].mean())
    counts = np.array([times(DONE, weather)], float)
    told_of = Outside(region, np.full((1, 6), 0.01))
    found = work_effects(counts, np.full(counts.shape, 7.0), np.array([[True, True]]), WEEKS, None, told_of)
    assert found.compared[0] and found.degrees[0] == 4
    assert found.ratio[0] == pytest.approx(0.5, abs=0.03)
    # Barns of the farm go before the region.
    both = np.array([[*times(DONE, weather), *OTHERS]], float)
    treated = np.array([[True, True, False, False]])
    beside = work_effects(both, np.full(both.shape, 7.0), treated, WEEKS, None, told_of)
    assert beside.ratio[0] == pytest.approx(effect(times(DONE, weather), OTHERS).ratio[0], rel=1e-9)
    few = Outside(np.where(WEEKS > 1, np.nan, region), told_of.variance)
    assert not work_effects(counts, np.full(counts.shape, 7.0), np.array([[True, True]]), WEEKS, None, few).compared[0]


def told(group, cells):
    lines = [
        "{stations}+{others} stations in {places}, {before}+{after} weeks, mean {mean:g}, k {k:g}, missing "
        "{missing:.0%}, correlation {correlation:g}, own shock {own:g} ({own_correlation:g}), left {left:g}{high}: "
        "covers {covers:.1%}, bias {bias:+.3f}, a factor {factor:.2f} to either side, fewer {shown:.1%}, more "
        "{shown_more:.1%}, told {told:.0%}".format(high=", done when high" if cell["when_high"] else "", **cell)
        for cell in cells
    ]
    return "\n".join([f"{group}:", *(f"  {line}" for line in lines)])


def check_and_print(farms, allowed, bias, capsys):
    """95 % intervals of a work that halves the flies; `allowed` in per cent for the cells that the issue names."""
    with np.errstate(under="ignore"):
        found = figures(farms, seed=11)
    with capsys.disabled():
        print("\n" + "\n".join(told(group, cells) for group, cells in found.items() if isinstance(cells, list)))
    asked = [100 * cell["covers"] for cell in found["asked"]]
    assert allowed[0] <= min(asked) and max(asked) <= allowed[1]
    assert max(abs(cell["bias"]) for cell in found["asked"]) < bias
    assert min(cell["told"] for cell in found["asked"]) > 0.99
    not_known = {
        (cell["before"], cell["after"], cell["mean"], cell["missing"]): cell["told"] for cell in found["not_known"]
    }
    for few in ((1, 3, 60.0, 0.0), (3, 1, 60.0, 0.0), (1, 1, 60.0, 0.0)):
        assert not_known[few] == 0
    assert not_known[(4, 4, 1.0, 0.0)] < 0.1
    return found


def of_places(found, name="covers"):
    return [100 * cell[name] for cell in found["places"]]


def test_the_intervals_cover_what_they_say_on_few_farms(capsys):
    found = check_and_print(300, (91.5, 99.0), 0.15, capsys)
    assert min(of_places(found)) > 89 and 94 < np.mean(of_places(found)) < 97


@pytest.mark.full
def test_the_intervals_cover_what_they_say(capsys):
    """Asked: 93 to 97 % in every cell.

    On farms of several places, with what moves one barn alone for weeks, 92 to 98 % in each cell of two or three weeks,
    93 to 97 on average; a work that does nothing is shown as fewer, or as more, at most 4 times in 100.
    """
    found = check_and_print(4_000, (93.0, 97.0), 0.03, capsys)
    assert min(of_places(found)) > 92 and max(of_places(found)) < 98 and 94.5 < np.mean(of_places(found)) < 96
    assert max(max(cell["shown"], cell["shown_more"]) for cell in found["nothing"]) < 0.045
    assert min(100 * cell["covers"] for cell in found["beyond"]) > 91
    assert min(100 * cell["covers"] for cell in found["alone"]) > 91.5
