"""What would the time of the year alone make of each week, by the farm's own earlier seasons?"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from monitoring.analysis.correlated_weeks import ALONE, WeekScatter, covariance_of_weeks
from monitoring.analysis.farm_weeks import FarmWeeks
from monitoring.analysis.shapes import Days, Floats, Ints, refuse

# Of the twelve weeks before a week six must be known, by counts and by season.
WEEKS_NEEDED = 6
# The level of a week of the year is the mean of three weeks of an earlier year, of which two must have been counted.
AROUND, AROUND_NEEDED = 3, 2
DAYS_A_WEEK = 7


@dataclass(frozen=True)
class SeasonLevel:
    """What the time of the year alone would make of each window's weeks.

    `level` (n, n_weeks) -- log, up to a constant for each row; NaN = not known. `covariance` (n, n_weeks, n_weeks) --
    how uncertain it is, for the same scale as the farm's own weeks; zero where it is taken as known.
    """

    level: Floats
    covariance: Floats


def season_from(years: Sequence[FarmWeeks], scatter: WeekScatter | None = None) -> SeasonLevel:
    """Give what the farm's own earlier seasons say of each week of a window.

    Parameters
    ----------
    years : FarmWeeks -- (n, 15), the latest year first: the same weeks of that year and one on either side; see `back`
        of `windows_from`.
    scatter : WeekScatter -- as in `score_newest`.

    Returns
    -------
    SeasonLevel -- (n, 13)

    Notes
    -----
    The level of a week is the mean of it and its two neighbours, of which two must have been counted. A year is used
    where it has the newest week and six before it. Years are averaged over the weeks that all of them have; where these
    are fewer than six, only the latest year is used. Each year's own height goes out with the farm's level, so that a
    good year and a bad one have the same season. No year: nothing is known, and all are NaN.
    """
    scatter = scatter if scatter is not None and scatter.borrowed else ALONE
    if not years:
        raise ValueError("years must hold at least one year.")
    levels, covariances = zip(*(_smooth_year(year, scatter) for year in years), strict=True)
    level, covariance = np.stack(levels), np.stack(covariances)
    known = ~np.isnan(level)
    usable = known[..., -1] & (known[..., :-1].sum(axis=-1) >= WEEKS_NEEDED)
    held = (known | ~usable[..., None]).all(axis=0) & usable.any(axis=0)[:, None]
    together = held[:, -1] & (held[:, :-1].sum(axis=1) >= WEEKS_NEEDED)
    latest = usable & (np.cumsum(usable, axis=0) == 1)
    use = np.where(together[None, :], usable, latest)
    number = np.maximum(use.sum(axis=0), 1)
    mean = np.where(use[..., None], np.nan_to_num(level), 0.0).sum(axis=0) / number[:, None]
    have = (known | ~use[..., None]).all(axis=0) & use.any(axis=0)[:, None]
    variance = np.where(use[..., None, None], covariance, 0.0).sum(axis=0) / (number**2)[:, None, None]
    return SeasonLevel(np.where(have, mean, np.nan), variance)


def weeks_to_same_week(mondays: Days, years: int) -> Ints:
    """Give how many weeks before each week the same ISO week of an earlier year was.

    Parameters
    ----------
    mondays : (n_weeks,) datetime64[D] -- Mondays; NaT is refused.
    years : int -- how many years earlier, at least 1.

    Returns
    -------
    (n_weeks,) int -- 52 or 53 a year. Week 53, where the earlier year has none, stands for its week 52.

    Examples
    --------
    >>> weeks_to_same_week(np.array(["2026-06-29", "2027-06-28", "2026-12-28"], "M8[D]"), 1)
    array([52, 53, 53])
    """
    refuse(np.isnat(mondays), "mondays", "must be a date")
    if years < 1:
        raise ValueError("years must be 1 or more.")
    return np.array([_weeks_back(monday, years) for monday in np.asarray(mondays, "M8[D]").tolist()], np.int64)


def _weeks_back(monday: date, years: int) -> int:
    year, week, _ = monday.isocalendar()
    # 28 December lies in the last ISO week of its year.
    last = date(year - years, 12, 28).isocalendar().week
    return (monday - date.fromisocalendar(year - years, min(week, last), 1)).days // DAYS_A_WEEK


def _smooth_year(year: FarmWeeks, scatter: WeekScatter) -> tuple[Floats, Floats]:
    """Give the mean of each week and its two neighbours, and the covariance of these means."""
    used = year.used & year.told[:, None]
    length = used.shape[1]
    near = np.arange(length)[None, :] - np.arange(length - AROUND + 1)[:, None]
    weight = used[:, None, :] & ((near >= 0) & (near < AROUND))[None, :, :]
    number = weight.sum(axis=2)
    mean = weight / np.maximum(number, 1)[:, :, None]
    level = np.matmul(mean, np.where(used, year.effects, 0.0)[:, :, None])[:, :, 0]
    covariance = np.matmul(np.matmul(mean, covariance_of_weeks(year, scatter)), mean.transpose(0, 2, 1))
    return np.where(number >= AROUND_NEEDED, level, np.nan), covariance
