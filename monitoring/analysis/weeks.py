"""Which ISO week does a count belong to?"""

import numpy as np

from monitoring.analysis.shapes import Days, Floats, Ints, refuse, refuse_unlike

DAY = np.timedelta64(1, "D")
# 1970-01-01 was a Thursday: three days after a Monday.
MONDAY_AFTER_EPOCH = np.datetime64("1970-01-05", "D")


def middle_day(hung: Days, taken: Days) -> Days:
    """Give the middle day of each exposure, the earlier of two.

    Parameters
    ----------
    hung, taken : (n,) datetime64[D] -- local dates; NaT in either = unknown. A leg count hangs for no time: give its
        day as both.

    Returns
    -------
    (n,) datetime64[D] -- hung + (taken - hung) // 2; NaT where either is unknown.

    Raises ValueError where something was taken down before it was hung.

    Examples
    --------
    >>> middle_day(np.array(["2026-06-01"], "M8[D]"), np.array(["2026-06-08"], "M8[D]"))
    array(['2026-06-04'], dtype='datetime64[D]')
    """
    hung, taken = np.asarray(hung, "M8[D]"), np.asarray(taken, "M8[D]")
    refuse_unlike(taken, hung.shape, "taken")
    # A comparison with NaT is False, so the unknown pass.
    refuse(taken < hung, "taken", "must not be before hung")
    return np.asarray(hung + (taken - hung) // 2, "M8[D]")


def monday_of(day: Days) -> Days:
    """Give the Monday of each day's ISO 8601 week; NaT stays NaT.

    Examples
    --------
    >>> monday_of(np.array(["2026-06-29", "2026-07-05", "2021-01-03"], "M8[D]"))
    array(['2026-06-29', '2026-06-29', '2020-12-28'], dtype='datetime64[D]')
    """
    day = np.asarray(day, "M8[D]")
    known = ~np.isnat(day)
    # Whole weeks since a Monday, rounded down also before 1970.
    weeks = (np.where(known, day, MONDAY_AFTER_EPOCH) - MONDAY_AFTER_EPOCH) // (7 * DAY)
    return np.where(known, MONDAY_AFTER_EPOCH + weeks * (7 * DAY), np.datetime64("NaT", "D"))


def week_of_exposure(hung: Days, taken: Days) -> Days:
    """Give the Monday of the ISO week that holds the middle day of each exposure; see `middle_day`.

    Examples
    --------
    >>> hung = np.array(["2026-06-01", "2026-06-04"], "M8[D]")
    >>> week_of_exposure(hung, hung + 7)
    array(['2026-06-01', '2026-06-01'], dtype='datetime64[D]')
    """
    return monday_of(middle_day(hung, taken))


def week_index(monday: Days, first: np.datetime64) -> Ints:
    """Number weeks from the first one, which is 0.

    Parameters
    ----------
    monday : (n,) datetime64[D] -- Mondays; NaT is refused.
    first : datetime64[D] -- the Monday of week 0.

    Returns
    -------
    (n,) int -- negative before the first week.

    Examples
    --------
    >>> week_index(np.array(["2026-06-01", "2026-06-15"], "M8[D]"), np.datetime64("2026-06-01"))
    array([0, 2])
    """
    refuse(np.isnat(monday), "monday", "must be a date")
    return ((np.asarray(monday, "M8[D]") - first) // (7 * DAY)).astype(np.int64)


def days_since_1970(day: Days) -> Floats:
    """Turn dates into numbers on which a line can be fitted; NaT becomes NaN.

    Examples
    --------
    >>> days_since_1970(np.array(["1970-01-02", "NaT"], "M8[D]"))
    array([ 1., nan])
    """
    day = np.asarray(day, "M8[D]")
    return np.where(np.isnat(day), np.nan, day.astype(np.int64).astype(np.float64))
