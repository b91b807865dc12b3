"""Did the work help? Before and after it, against the stations of the same farm where nothing was done."""

from dataclasses import dataclass

import numpy as np
from scipy import special

from monitoring.analysis.shapes import Bools, Floats, Ints, Words, refuse, refuse_unlike
from monitoring.analysis.week_effects import WeekEffects, week_effects

WEEKS_NEEDED = 2  # before, and after: fewer say nothing about how much weeks scatter
# Sets only how a full station weighs against an empty one; the scatter itself is taken from the weeks.
K_OF_WEIGHTS = 1.5
# What moves a farm's weeks beside chance: log sd and correlation from week to week. Without a comparison all of it is
# in the way; with one only what two barns of a farm do not share. Our own choice, the first pair from trials.
FARM_SHOCK, BARN_SHOCK, LINGERS = 0.25, 0.15, 0.4


@dataclass(frozen=True)
class WorkEffects:
    """What became of the counts after each work; arrays are (n_works,).

    `log_ratio` is the log of (after / before where it was done) over (after / before where nothing was), so 0 is no
    change; with `compared` False it is the log of after / before alone, and weather may have done it.
    `standard_error` and `degrees` (of freedom of t) give its interval. `reason` is "" or why there is nothing to tell:
    "no_counts", "too_few_before", "too_few_after" (fewer than two weeks), "not_comparable" (no station was counted on
    both sides of the work), "nothing_caught" (zero on one side: no ratio). `weeks_before` and `weeks_after` are those
    used, `stations` and `others` how many stations stand for the work and for the comparison.
    """

    log_ratio: Floats
    standard_error: Floats
    degrees: Ints
    reason: Words
    compared: Bools
    weeks_before: Ints
    weeks_after: Ints
    stations: Ints
    others: Ints

    @property
    def ratio(self) -> Floats:
        """(n_works,) -- what is left: 0.5 is half of what was to be expected; NaN where there is none."""
        return np.exp(self.log_ratio)

    @property
    def change(self) -> Floats:
        """(n_works,) -- the same in per cent: -50 is half. [%]"""
        return 100 * np.expm1(self.log_ratio)

    def interval(self, level: float = 0.95) -> "RatioInterval":
        """Give the interval of each ratio; NaN where there is none."""
        if not 0 < level < 1:
            raise ValueError("level must be above 0 and below 1.")
        t = special.stdtrit(np.maximum(self.degrees, 1).astype(np.float64), (1 + level) / 2)
        # The reach is capped where exp would leave the range of floats.
        reach = np.minimum(t * self.standard_error, 100.0)
        return RatioInterval(np.exp(self.log_ratio - reach), np.exp(self.log_ratio + reach))


@dataclass(frozen=True)
class RatioInterval:
    """The ends of the ratios' intervals, (n_works,); NaN where there is no ratio."""

    low: Floats
    high: Floats


def work_effects(counts: Floats, effort: Floats, treated: Bools, weeks: Ints) -> WorkEffects:
    """Compare the weeks after each work with those before, against stations where nothing was done.

    Parameters
    ----------
    counts : (n_works, n_stations, n_weeks) float -- catches, zero or more; NaN = no count, and padding. [individuals]
    effort : (n_works, n_stations, n_weeks) float -- days up (times the part counted; animals for leg counts), above
        zero wherever there is a count. [days]
    treated : (n_works, n_stations) bool -- the station stands where the work was done.
    weeks : (n_weeks,) int -- which week each column is, counted from the work: -1 the last before it, 0 the first after
        it. They rise; gaps are allowed.

    Returns
    -------
    WorkEffects

    Raises ValueError, naming the argument, for what is negative, infinite or unlike in shape.

    Notes
    -----
    Only stations counted both before and after are used, so that stations that come and go cannot move the result.
    For each side `week_effects` gives log week levels, with k 1.5: stations then weigh nearly alike, while a Poisson
    fit hears mostly the fullest one. Their difference d_t takes out what moves both sides alike, such as weather over
    the whole farm. The step of d_t at the work is fitted by generalised least squares. Its covariance is known up to a
    factor: counting (from `week_effects`), plus a shock of log sd 0.15 for each barn with lag-one correlation 0.4, or
    one of 0.25 where there is no comparison. The factor comes from the scatter of the weeks themselves, t on weeks - 2.
    The error is never taken below what counting alone gives, sqrt(1/Tb + 1/Ta + 1/Cb + 1/Ca) of the catches.

    On simulated farms (5 stations on each side, k 1.5, log sd 0.6 between stations) 95 % intervals cover 95.7 to
    96.3 % with 3 to 4 weeks before and after. They are wide, as they must be: a factor of 2.7 to 4.3 to either side.
    Where one barn alone has shocks that last (sd 0.3, correlation 0.5) they cover 93 %; at a mean catch of 3 and two
    weeks on each side 99.7 %. `server/calibrate/work_effect.py` measures it.

    Where the other side has not two weeks before and after in common with the treated one, it is left out: `compared`
    is False and the result is before and after alone. Weather that is not shared, a work done because the count was
    high (it would have come down somewhat by itself), and flies that cross from barn to barn are not taken out by any
    of this. Missing is never zero.

    References
    ----------
    Stewart-Oaten, Murdoch and Parker 1986, Environmental impact assessment: "pseudoreplication" in time?, Ecology
    67:929-940 (from memory), for taking weeks as the units; Henderson and Tilton 1955, J Econ Entomol 48:157-161, whose
    ratio of ratios it is.

    Examples
    --------
    >>> counts = np.array([[[40.0, 44, 21, 19], [90, 80, 40, 45], [30, 33, 33, 31], [50, 47, 52, 49]]])
    >>> treated = np.array([[True, True, False, False]])
    >>> found = work_effects(counts, np.full(counts.shape, 7.0), treated, np.array([-2, -1, 0, 1]))
    >>> round(float(found.ratio[0]), 2), int(found.degrees[0])
    (0.47, 2)
    """
    counts, effort = np.asarray(counts, np.float64), np.asarray(effort, np.float64)
    _refuse_unlike(counts, treated, weeks)
    counts = _on_both_sides(counts, weeks >= 0)
    mine, other = np.where(treated[:, :, None], counts, np.nan), np.where(treated[:, :, None], np.nan, counts)
    treated_weeks, other_weeks = (week_effects(side, effort, K_OF_WEIGHTS) for side in (mine, other))
    compared = _enough(treated_weeks.used & other_weeks.used, weeks) & _catches(other, weeks).all(axis=1)
    catches = _catches(mine, weeks)
    series = _Series.of(treated_weeks, other_weeks, compared, weeks)
    reason = _reasons(mine, series.used, catches, weeks)
    step, error = series.step(reason == "", weeks >= 0)
    least = _counting_error(mine, weeks) + np.where(compared, _counting_error(other, weeks), 0.0)
    told = reason == ""
    return WorkEffects(
        log_ratio=np.where(told, step, np.nan),
        standard_error=np.where(told, np.sqrt(np.maximum(error, least)), np.nan),
        degrees=np.where(told, series.used.sum(axis=1) - 2, 0),
        reason=reason,
        compared=compared & told,
        weeks_before=(series.used & (weeks < 0)).sum(axis=1),
        weeks_after=(series.used & (weeks >= 0)).sum(axis=1),
        stations=_stations(mine),
        others=np.where(compared, _stations(other), 0),
    )


def _refuse_unlike(counts: Floats, treated: Bools, weeks: Ints) -> None:
    if counts.ndim != 3:
        raise ValueError("counts must have three axes: works, stations, weeks.")
    refuse_unlike(treated, counts.shape[:2], "treated")
    refuse_unlike(weeks, counts.shape[2:], "weeks")
    refuse(np.diff(weeks) <= 0, "weeks", "must rise from column to column")


def _on_both_sides(counts: Floats, after: Bools) -> Floats:
    """Leave only stations counted before and after the work."""
    have = ~np.isnan(counts)
    both: Bools = np.asarray(have[:, :, after].any(axis=2) & have[:, :, ~after].any(axis=2), np.bool_)
    return np.where(both[:, :, None], counts, np.nan)


def _enough(used: Bools, weeks: Ints) -> Bools:
    before, after = used[:, weeks < 0].sum(axis=1), used[:, weeks >= 0].sum(axis=1)
    return np.asarray(np.minimum(before, after) >= WEEKS_NEEDED, np.bool_)


def _totals(counts: Floats, weeks: Ints) -> Floats:
    """(n_works, 2) -- caught before and after."""
    caught = np.nan_to_num(counts).sum(axis=1)
    return np.stack([caught[:, weeks < 0].sum(axis=1), caught[:, weeks >= 0].sum(axis=1)], axis=1)


def _catches(counts: Floats, weeks: Ints) -> Bools:
    return np.asarray(_totals(counts, weeks) > 0, np.bool_)


def _counting_error(counts: Floats, weeks: Ints) -> Floats:
    """Give 1/before + 1/after: the variance of a log ratio of Poisson counts."""
    return np.asarray((1 / np.maximum(_totals(counts, weeks), 1.0)).sum(axis=1), np.float64)


def _stations(counts: Floats) -> Ints:
    return np.asarray((~np.isnan(counts)).any(axis=2).sum(axis=1), np.int64)


def _reasons(mine: Floats, used: Bools, catches: Bools, weeks: Ints) -> Words:
    have: Bools = np.asarray((~np.isnan(mine)).any(axis=1), np.bool_)
    before, after = have[:, weeks < 0].sum(axis=1), have[:, weeks >= 0].sum(axis=1)
    why = [
        before + after == 0,
        before < WEEKS_NEEDED,
        after < WEEKS_NEEDED,
        ~catches.all(axis=1),
        ~_enough(used, weeks),
    ]
    names = ["no_counts", "too_few_before", "too_few_after", "nothing_caught", "not_comparable"]
    return np.select(why, names, default="")


@dataclass(frozen=True)
class _Series:
    """Each work's weekly log ratio and its covariance up to a factor."""

    value: Floats
    covariance: Floats
    used: Bools

    @classmethod
    def of(cls, mine: WeekEffects, other: WeekEffects, compared: Bools, weeks: Ints) -> "_Series":
        used = mine.used & (other.used | ~compared[:, None])
        value = np.nan_to_num(mine.effects) - np.where(compared[:, None], np.nan_to_num(other.effects), 0.0)
        # s^2 r^|t - u| for each barn, or for the farm where nothing takes it out
        lingering = LINGERS ** np.abs(np.subtract.outer(weeks, weeks)).astype(np.float64)
        shock = np.where(compared, 2 * BARN_SHOCK**2, FARM_SHOCK**2)[:, None, None] * lingering
        # Levels are known up to a shift; the same number in every cell says so and moves no contrast.
        covariance = mine.noise + np.where(compared[:, None, None], other.noise, 0.0) + shock + 1.0
        inside = used[:, :, None] & used[:, None, :]
        return cls(np.where(used, value, 0.0), np.where(inside, covariance, np.eye(len(weeks))), used)

    def step(self, told: Bools, after: Bools) -> tuple[Floats, Floats]:
        """Fit level and step by generalised least squares; give the step and its variance, 0 and 1 where not told."""
        design = np.stack([self.used, self.used & after], axis=2).astype(np.float64)
        weighted = np.linalg.solve(self.covariance, design)
        normal = np.matmul(np.swapaxes(design, 1, 2), weighted)
        # (X' V^-1 X)^-1 X' V^-1 d, and phi = r' V^-1 r / (weeks - 2)
        inverse = np.linalg.inv(np.where(told[:, None, None], normal, np.eye(2)))
        fitted = np.matmul(inverse, np.matmul(np.swapaxes(weighted, 1, 2), self.value[:, :, None]))
        rest = self.value - np.matmul(design, fitted)[:, :, 0]
        scatter = (rest * np.linalg.solve(self.covariance, rest[:, :, None])[:, :, 0]).sum(axis=1)
        degrees = np.where(told, self.used.sum(axis=1) - 2, 1)
        return fitted[:, 1, 0], np.where(told, scatter / degrees * inverse[:, 1, 1], 1.0)
