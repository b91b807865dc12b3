"""Degree-days against published and computed values, and against plain integration of the day's course."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from monitoring.analysis.degree_days import by_sine, by_triangle, celsius_from_fahrenheit

# lowest, highest, lower, upper, sine, triangle. P: published (a state extension service's worked example of the single
# sine method, 2.749 degree-days Fahrenheit). C: computed from the formulas of Baskerville and Emin 1969 (Ecology 50)
# and Allen 1976 (Environ Entomol 5), checked by a second method.
TABLE = [
    pytest.param(34, 60, 50, None, 2.7487, 1.9231, id="P"),
    pytest.param(15, 30, 10, None, 12.5, 12.5, id="C-all-above"),
    pytest.param(15, 30, 10, 28, 12.1857, 12.3667, id="C-over-the-cutoff"),
    pytest.param(5, 25, 10, None, 6.0900, 5.625, id="C-crosses-lower"),
    pytest.param(5, 38, 10, 35, 11.9517, 11.7424, id="C-crosses-both"),
    pytest.param(2, 8, 10, 35, 0, 0, id="C-all-below"),
]


@pytest.mark.parametrize(("lowest", "highest", "lower", "upper", "sine", "triangle"), TABLE)
def test_the_table(lowest, highest, lower, upper, sine, triangle):
    assert by_sine(lowest, highest, lower, upper) == pytest.approx(sine, abs=5e-5)
    assert by_triangle(lowest, highest, lower, upper) == pytest.approx(triangle, abs=5e-5)


@given(st.floats(-10, 40), st.floats(0.1, 25), st.floats(0, 20), st.floats(1, 25))
def test_the_sine_is_the_area_between_the_thresholds(lowest, spread, lower, gap):
    """Second method: SciPy's quadrature of a cosine day, clipped at both thresholds."""
    middle, half, upper = lowest + spread / 2, spread / 2, lower + gap

    def warmth(turn):
        return min(max(middle + half * np.cos(turn) - lower, 0.0), gap)

    corners = [float(np.arccos((each - middle) / half)) for each in (lower, upper) if abs(each - middle) < half]
    area, _ = integrate.quad(warmth, 0, np.pi, points=sorted(corners) or None, limit=200)
    assert by_sine(lowest, lowest + spread, lower, upper) == pytest.approx(area / np.pi, abs=1e-6)


@given(st.floats(-10, 40), st.floats(0, 25), st.floats(0, 20))
def test_a_warmer_day_is_never_less(lowest, spread, lower):
    for method in (by_sine, by_triangle):
        days = method([lowest, lowest + 1], [lowest + spread, lowest + spread + 1], lower, lower + 20)
        assert 0 <= days[0] <= days[1] + 1e-12 <= 20 + 2e-12


def test_a_day_of_one_temperature_has_no_course():
    assert by_sine(20, 20, 12) == 8
    assert by_triangle(12, 12, 12) == 0


def test_celsius_degree_days_have_no_offset():
    # 15 C and 30 C are 59 F and 86 F.
    fahrenheit = by_sine(59, 86, 50, 82.4)
    assert celsius_from_fahrenheit(fahrenheit) == pytest.approx(by_sine(15, 30, 10, 28))


def test_what_is_not_known_stays_unknown():
    assert np.isnan(by_sine([np.nan, 5.0], [20.0, np.nan], 10, 30)).all()
    assert np.isnan(by_triangle([np.nan], [20.0], 10)).all()


@pytest.mark.parametrize("method", [by_sine, by_triangle])
def test_bad_input_is_refused_by_name(method):
    with pytest.raises(ValueError, match=r"^lowest must not be above highest"):
        method(30, 20, 10)
    with pytest.raises(ValueError, match=r"^upper must be above lower"):
        method(10, 20, 15, 15)
    with pytest.raises(ValueError, match=r"must be finite"):
        method(10, np.inf, 15)
