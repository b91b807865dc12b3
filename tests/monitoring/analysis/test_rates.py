"""Station-week rates: pooling, parts, flags, and what is missing."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.analysis.rates import Readings, as_typed, station_weeks
from tests.monitoring.analysis.farms import FIRST, grid, readings

NONE = float("nan")


def rate(*rows: tuple[int, int, float, float], **columns: object) -> float:
    return float(station_weeks(readings(rows, **columns), n_stations=1, n_weeks=1).rate[0, 0])


def test_eighty_specks_in_five_days_are_112_in_seven():
    assert rate((0, 0, 80, 5)) == 112


def test_two_exposures_in_a_week_are_pooled():
    # 30 in 3 days and 90 in 4: 120 in 7, not the mean of 70 and 157.5.
    assert rate((0, 0, 30, 3), (0, 0, 90, 4)) == 120


def test_a_quarter_of_a_card_is_taken_four_times():
    weeks = station_weeks(readings([(0, 0, 61, 7)], part=[0.25], how=["part"]), n_stations=1, n_weeks=1)
    assert weeks.rate[0, 0] == 244
    assert (weeks.counted[0, 0], weeks.effort[0, 0]) == (61, 1.75)
    assert weeks.estimated[0, 0]


def test_a_third_stored_with_four_decimals_is_a_third():
    assert rate((0, 0, 25, 7), part=[0.3333], how=["part"]) == pytest.approx(75, rel=1e-15)


@given(st.integers(1, 60), st.data())
def test_every_simple_part_comes_back_from_four_decimals(denominator: int, data: st.DataObject):
    numerator = data.draw(st.integers(1, denominator))
    typed = as_typed(round(numerator / denominator, 4))
    assert abs(float(typed) - numerator / denominator) <= 1e-4
    assert typed.denominator <= denominator


def test_a_part_too_small_for_four_decimals_stays_what_it_is():
    assert as_typed(0.00001) == Fraction(1, 100_000)


def test_legs_are_flies_per_animal_and_per_leg():
    weeks = grid([[150]], days=15, per=1)
    assert weeks.rate[0, 0] == 10
    assert weeks.per_leg[0, 0] == 2.5
    assert not weeks.long[0, 0]


def test_animals_of_a_week_are_pooled():
    weeks = station_weeks(readings([(0, 0, 100, 10), (0, 0, 40, 5)]), n_stations=1, n_weeks=1, per=1)
    assert weeks.rate[0, 0] == pytest.approx(140 / 15)


def test_missing_is_not_zero():
    weeks = station_weeks(readings([(0, 0, 0, 7), (0, 1, NONE, 7)]), n_stations=1, n_weeks=3)
    assert weeks.rate[0, 0] == 0
    assert np.isnan(weeks.rate[0, 1:]).all()
    assert weeks.devices[0].tolist() == [1, 0, 0]
    assert weeks.missing[0].tolist() == [0, 1, 0]


def test_a_lost_card_takes_nothing_from_the_one_beside_it():
    assert rate((0, 0, 50, 7), (0, 0, NONE, 7)) == 50


def test_one_at_least_makes_the_week_at_least():
    weeks = station_weeks(readings([(0, 0, 300, 7), (0, 0, 20, 7)], at_least=[1, 0]), n_stations=1, n_weeks=1)
    assert weeks.at_least[0, 0]
    assert weeks.rate[0, 0] == 160


def test_short_and_long_exposures_are_kept_and_flagged():
    weeks = station_weeks(readings([(0, 0, 9, 2), (0, 1, 9, 3), (0, 2, 9, 14), (0, 3, 9, 15)]), n_stations=1, n_weeks=4)
    assert weeks.short[0].tolist() == [True, False, False, False]
    assert weeks.long[0].tolist() == [False, False, False, True]
    assert not np.isnan(weeks.rate).any()


def test_a_trap_measured_by_the_cup_is_an_estimate():
    assert station_weeks(readings([(0, 0, 500, 7)], how=["cup"]), n_stations=1, n_weeks=1).estimated[0, 0]


def test_the_week_is_dated_by_its_middle_days_weighted_by_exposure():
    two = readings([(0, 0, 5, 2), (0, 0, 5, 6)], middle=FIRST + np.array([0, 4]))
    days = station_weeks(two, n_stations=1, n_weeks=1).middle[0, 0]
    assert days == FIRST.astype(int) + 3


@given(
    st.lists(st.tuples(st.integers(0, 2), st.integers(0, 3), st.integers(0, 500), st.integers(1, 20)), min_size=1),
    st.randoms(),
)
def test_the_order_of_readings_changes_nothing(rows: list[tuple[int, int, float, float]], random: object):
    shuffled = rows.copy()
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    one, other = (station_weeks(readings(each), n_stations=3, n_weeks=4) for each in (rows, shuffled))
    np.testing.assert_allclose(one.rate, other.rate, rtol=1e-14)


@given(st.integers(0, 1000), st.integers(1, 30), st.integers(1, 50))
def test_counts_and_days_times_the_same_number_change_nothing(count: int, days: int, times: int):
    assert rate((0, 0, count * times, days * times)) == pytest.approx(rate((0, 0, count, days)), rel=1e-14)


@pytest.mark.parametrize(
    ("row", "columns", "argument"),
    [
        ((0, 0, -1, 7), {}, "count"),
        ((0, 0, float("inf"), 7), {}, "count"),
        ((0, 0, 5, 0), {}, "exposure"),
        ((0, 0, 5, NONE), {}, "exposure"),
        ((0, 0, 5, float("inf")), {}, "exposure"),
        ((0, 0, 5, 7), {"part": [0.0]}, "part"),
        ((0, 0, 5, 7), {"part": [1.5]}, "part"),
        ((0, 0, 5, 7), {"part": [NONE]}, "part"),
        ((0, 0, 5, 7), {"middle": ["NaT"]}, "middle"),
        ((1, 0, 5, 7), {}, "station"),
        ((0, 9, 5, 7), {}, "week"),
    ],
)
def test_bad_input_is_refused_by_the_name_of_its_argument(row, columns, argument):
    with pytest.raises(ValueError, match=f"^{argument} must"):
        rate(row, **columns)


def test_columns_of_unlike_length_are_refused():
    good = readings([(0, 0, 5, 7)])
    with pytest.raises(ValueError, match=r"^how must have the shape"):
        Readings(
            good.station,
            good.week,
            good.middle,
            good.count,
            good.part,
            good.exposure,
            good.at_least,
            np.array(["counted", "counted"]),
        )


def test_what_a_rate_is_given_for_must_be_above_zero():
    with pytest.raises(ValueError, match=r"^per must"):
        station_weeks(readings([(0, 0, 5, 7)]), n_stations=1, n_weeks=1, per=0)


def test_a_week_of_a_grid_is_the_grid_of_that_week():
    rows = [(0, 0, 80, 7), (0, 1, 5, 5), (1, 1, 30, 7), (0, 1, 7, 2), (1, 0, 4, 7)]
    week = station_weeks(readings(rows), n_stations=3, n_weeks=2).of_week(1)
    alone = station_weeks(readings([(s, 0, n, d) for s, w, n, d in rows if w == 1]), n_stations=3, n_weeks=1)
    for name in ("rate", "estimate", "exposure", "counted", "effort", "devices", "missing", "short", "per"):
        np.testing.assert_array_equal(getattr(week, name), getattr(alone, name), err_msg=name)
    assert week.readings.count.tolist() == alone.readings.count.tolist()
    with pytest.raises(ValueError, match=r"^week must"):
        week.of_week(1)


def test_no_readings_are_no_rates():
    empty = readings([(0, 0, 5, 7)])
    none = Readings(*(getattr(empty, name)[:0] for name in empty.__dataclass_fields__))
    assert np.isnan(station_weeks(none, n_stations=2, n_weeks=2).rate).all()
