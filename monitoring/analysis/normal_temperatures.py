"""How warm is a day usually that nobody has measured, or that is still to come?"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from monitoring.analysis.shapes import Bools, Days, Floats, Words, refuse, refuse_unlike

# Earlier years that are looked at, and how many days on either side of the same day. Our own choices, as all below.
EARLIER_YEARS, AROUND = 5, 7
DAYS_A_YEAR = 365.2425
# Known days without which a mean is no normal: of those in earlier years, and of the last ones.
ENOUGH = 7
# Without an earlier year the last days stand for those to come, and for how many of them.
RECENT, RECENT_REACHES = 14, 42


@dataclass(frozen=True)
class DayTemperatures:
    """Daily temperatures of places, (n_places, n_days) each; column 0 is the day `first`. NaN = not known. [C]"""

    first: np.datetime64
    lowest: Floats
    highest: Floats

    @classmethod
    def of(cls, first: np.datetime64, lowest: ArrayLike, highest: ArrayLike) -> "DayTemperatures":
        """Take (n_days,) for one place, or (n_places, n_days).

        Raises ValueError where the shapes differ, a lowest temperature is above the highest, or one is infinite.
        """
        low, high = (np.atleast_2d(np.asarray(each, np.float64)) for each in (lowest, highest))
        refuse_unlike(high, low.shape, "highest")
        refuse(np.isinf(low), "lowest", "must be finite numbers, or NaN for not known")
        refuse(np.isinf(high), "highest", "must be finite numbers, or NaN for not known")
        refuse(low > high, "lowest", "must not be above highest")
        return cls(first.astype("M8[D]"), low, high)

    @property
    def day(self) -> Days:
        """(n_days,) datetime64[D]"""
        return self.first + np.arange(self.lowest.shape[1])

    @property
    def is_known(self) -> Bools:
        """(n_places, n_days) -- where both temperatures are there."""
        return ~(np.isnan(self.lowest) | np.isnan(self.highest))

    def of_days(self, first: np.datetime64, n_days: int) -> "DayTemperatures":
        """Cut out some days in a row; those outside of what is held are not known."""
        place = (first.astype("M8[D]") - self.first).astype(np.int64) + np.arange(n_days)
        held = (place >= 0) & (place < self.lowest.shape[1])
        inside = np.clip(place, 0, max(self.lowest.shape[1] - 1, 0))
        cut = (np.where(held, each[:, inside], np.nan) for each in (self.lowest, self.highest))
        return DayTemperatures(first.astype("M8[D]"), *cut)


@dataclass(frozen=True)
class Continued:
    """Known days with normal ones after them.

    `source` (n_places, n_days) says where a day's temperatures come from: "known", "earlier_years", "recent_days", or
    "none" (then they are NaN).
    """

    temperatures: DayTemperatures
    source: Words


def continued(known: DayTemperatures, ahead: int) -> Continued:
    """Put normal temperatures after each place's last known day, up to so many days after the last column.

    Parameters
    ----------
    known : DayTemperatures -- (n_places, n_days); the last column is the present day, known or not. [C]
    ahead : int -- days to add after the last column, 0 or more.

    Returns
    -------
    Continued -- (n_places, n_days + ahead).

    Raises ValueError where `ahead` is negative.

    Notes
    -----
    Normal is the mean over the five years before of the days within a week of the same time of year, where at least 7
    of those are known. Without them it is the mean of the last 14 days, where at least 7 of these are known, for the 42
    days after the present one; further on nothing is known. A day that is missing between known ones stays missing: it
    is never zero, and nobody knows what the weather was.

    References
    ----------
    Our own choices. Official normals are means over 30 years (WMO-No. 1203, Guidelines on the Calculation of Climate
    Normals); where somebody has them, they can be stored as an earlier year.

    Examples
    --------
    >>> season = DayTemperatures.of(np.datetime64("2026-06-01"), np.full(30, 12.0), np.full(30, 26.0))
    >>> after = continued(season, 2)
    >>> after.temperatures.highest[0, -2:].tolist(), after.source[0, -2:].tolist()
    ([26.0, 26.0], ['recent_days', 'recent_days'])
    """
    if ahead < 0:
        raise ValueError("ahead must not be negative.")
    have = known.is_known
    longer = known.of_days(known.first, have.shape[1] + ahead)
    earlier = [_earlier_years(each, have, ahead) for each in (known.lowest, known.highest)]
    recent = [_recent_days(each, have, ahead) for each in (known.lowest, known.highest)]
    after = _after_last_known(longer.is_known)
    by_years, by_days = (after & ~np.isnan(each[0]) for each in (earlier, recent))
    by_days &= ~by_years
    low, high = (
        np.where(by_years, years, np.where(by_days, days, np.where(longer.is_known, own, np.nan)))
        for own, years, days in zip((longer.lowest, longer.highest), earlier, recent, strict=True)
    )
    source = np.where(longer.is_known, "known", "none")
    source = np.where(by_years, "earlier_years", np.where(by_days, "recent_days", source))
    return Continued(DayTemperatures(known.first, low, high), source)


def _earlier_years(values: Floats, have: Bools, ahead: int) -> Floats:
    """Give each day's mean over the same time of earlier years, NaN where too few days of them are known."""
    n_days = values.shape[1]
    sums, numbers = (_before(each) for each in (np.where(have, values, 0.0), have))
    total, number = (np.zeros((values.shape[0], n_days + ahead)) for _ in range(2))
    for year in range(1, EARLIER_YEARS + 1):
        middle = np.arange(n_days + ahead) - round(DAYS_A_YEAR * year)
        begin, end = (np.clip(middle + step, 0, n_days) for step in (-AROUND, AROUND + 1))
        total += sums[:, end] - sums[:, begin]
        number += numbers[:, end] - numbers[:, begin]
    return _mean(total, number)


def _recent_days(values: Floats, have: Bools, ahead: int) -> Floats:
    """Give the mean of the last days for every day up to six weeks after the last column, NaN further on."""
    last = have[:, -RECENT:]
    mean = _mean(np.where(last, values[:, -RECENT:], 0.0).sum(axis=1), last.sum(axis=1))
    reached = np.arange(values.shape[1] + ahead) < values.shape[1] + RECENT_REACHES
    return np.where(reached, mean[:, None], np.nan)


def _before(values: Floats | Bools) -> Floats:
    """Give the sum of what stands before each column, (n_places, n_days + 1)."""
    return np.concatenate([np.zeros((values.shape[0], 1)), np.cumsum(values, axis=1, dtype=np.float64)], axis=1)


def _mean(total: Floats, number: Floats) -> Floats:
    return np.where(number >= ENOUGH, total / np.maximum(number, 1), np.nan)


def _after_last_known(have: Bools) -> Bools:
    """Tell the days after which no known one comes."""
    return ~np.logical_or.accumulate(have[:, ::-1], axis=1)[:, ::-1]
