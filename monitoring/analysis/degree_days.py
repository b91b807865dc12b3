"""How much warmth for development did a day bring?"""

import numpy as np
from numpy.typing import ArrayLike

from monitoring.analysis.shapes import Floats, refuse

FAHRENHEIT_TO_CELSIUS_DEGREES = 5 / 9


def by_sine(lowest: ArrayLike, highest: ArrayLike, lower: float, upper: float | None = None) -> Floats:
    """Give the degree-days of each day by the single sine method, with a horizontal cutoff.

    Parameters
    ----------
    lowest, highest : arrays of one shape -- a day's lowest and highest temperature; NaN = not known. [degrees]
    lower : float -- temperature below which nothing develops, in the same degrees.
    upper : float or None -- temperature above which development goes on as fast, not faster; None = none.

    Returns
    -------
    array of that shape, zero or more; NaN where a temperature is not known. [degree-days]

    Raises ValueError where a day's lowest temperature is above its highest, or `upper` is not above `lower`.

    Notes
    -----
    The day is a sine from lowest to highest. Degree-days above `upper` are taken from those above `lower`. Where the
    highest temperature does not reach `lower` it is zero.

    References
    ----------
    Baskerville and Emin 1969, Rapid estimation of heat accumulation from maximum and minimum temperatures, Ecology 50.
    Allen 1976, A modified sine wave method for calculating degree days, Environ Entomol 5.

    Examples
    --------
    >>> np.round(by_sine([34.0, 15.0, 2.0], [60.0, 30.0, 8.0], 50.0), 4)
    array([2.7487, 0.    , 0.    ])
    >>> np.round(by_sine([15.0], [30.0], 10.0, 28.0), 4)
    array([12.1857])
    """
    low, high = _checked(lowest, highest, lower, upper)
    above = _sine_above(low, high, lower)
    return above if upper is None else above - _sine_above(low, high, upper)


def by_triangle(lowest: ArrayLike, highest: ArrayLike, lower: float, upper: float | None = None) -> Floats:
    """Give the degree-days of each day by the single triangle method; arguments and result as in `by_sine`.

    References
    ----------
    Common practice; the triangle is the day's course in straight lines.

    Examples
    --------
    >>> np.round(by_triangle([15.0], [30.0], 10.0, 28.0), 4)
    array([12.3667])
    """
    low, high = _checked(lowest, highest, lower, upper)
    above = _triangle_above(low, high, lower)
    return above if upper is None else above - _triangle_above(low, high, upper)


def celsius_from_fahrenheit(degree_days: ArrayLike) -> Floats:
    """Turn Fahrenheit degree-days into Celsius ones: times 5/9, without the 32 of temperatures.

    Examples
    --------
    >>> float(celsius_from_fahrenheit(405.0))
    225.0
    """
    return np.asarray(degree_days, np.float64) * FAHRENHEIT_TO_CELSIUS_DEGREES


def _checked(lowest: ArrayLike, highest: ArrayLike, lower: float, upper: float | None) -> tuple[Floats, Floats]:
    low, high = np.broadcast_arrays(np.asarray(lowest, np.float64), np.asarray(highest, np.float64))
    refuse(np.isinf(low) | np.isinf(high), "lowest and highest", "must be finite numbers, or NaN for not known")
    refuse(low > high, "lowest", "must not be above highest")
    if upper is not None and not upper > lower:
        raise ValueError("upper must be above lower.")
    return low, high


def _sine_above(low: Floats, high: Floats, threshold: float) -> Floats:
    middle, half = (high + low) / 2, (high - low) / 2
    crosses = (low < threshold) & (threshold < high)
    # q = asin((th - m) / A);  [(m - th)(pi/2 - q) + A cos q] / pi  (Baskerville and Emin 1969; Allen 1976)
    q = np.arcsin(np.where(crosses, (threshold - middle) / np.where(crosses, half, 1.0), 0.0))
    crossing = ((middle - threshold) * (np.pi / 2 - q) + half * np.cos(q)) / np.pi
    return np.where(crosses, crossing, np.maximum(middle - threshold, 0.0))


def _triangle_above(low: Floats, high: Floats, threshold: float) -> Floats:
    crosses = (low < threshold) & (threshold < high)
    # The tip of the triangle: (max - th)^2 / (2 (max - min))
    crossing = np.where(crosses, high - threshold, 0.0) ** 2 / (2 * np.where(crosses, high - low, 1.0))
    return np.where(crosses, crossing, np.maximum((high + low) / 2 - threshold, 0.0))
