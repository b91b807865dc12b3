"""Did the work help? Before and after it, against places of the same farm where nothing was done, or the region."""

from dataclasses import dataclass

import numpy as np
from scipy import special

from monitoring.analysis.shapes import Bools, Floats, Ints, Words, refuse, refuse_unlike
from monitoring.analysis.step_in_weeks import Places, fit_step
from monitoring.analysis.week_effects import WeekEffects, week_effects

WEEKS_NEEDED = 2  # before, and after: fewer say nothing about how much weeks scatter
LEAST_CAUGHT = 9.0  # a place and week, on average: with fewer, intervals say too much (docs/calibration)
# Sets only how a full station weighs against an empty one; how much counts scatter is taken from the counts.
K_OF_WEIGHTS = 1.5
# As if so many more degrees of freedom had said that counts scatter as with that k.
DEGREES_OF_K = 4.0
# What moves a place's weeks beside chance: log sd and correlation from week to week. Without a comparison all that
# moves the farm is in the way; with one, only what two barns of a farm do not share. Our own choice, from trials.
FARM_SHOCK, BARN_SHOCK, LINGERS = 0.23, 0.17, 0.4


@dataclass(frozen=True)
class Outside:
    """What is known of the weeks elsewhere, where a whole farm was worked on: a region's published means.

    `log_level` (n_works, n_weeks): NaN = not known. `variance` (n_works, n_weeks): of each log level, from rounding and
    from the scatter between the farms behind it.
    """

    log_level: Floats
    variance: Floats


@dataclass(frozen=True)
class WorkEffects:
    """What became of the counts after each work; arrays are (n_works,).

    `log_ratio` is the log of (after / before where it was done) over (after / before where nothing was), so 0 is no
    change; with `compared` False it is the log of after / before alone, and weather may have done it.
    `standard_error` and `degrees` (of freedom of t) give its interval. `reason` is "" or why there is nothing to tell:
    "no_counts", "too_few_before", "too_few_after" (fewer than two weeks), "not_comparable" (no station was counted on
    both sides of the work), "few_caught" (under nine a week), "nothing_caught" (zero on one side: no ratio).
    `weeks_before` and `weeks_after` are those used; `stations` stand for the work; `other_stations` (n_works,
    n_stations) marks those of the comparison, `others` is their number. `factor` is the scatter over what was assumed,
    `noise` (n_works, n_places) the log variance that counting gives a week of each place used (the first is the
    work's), NaN elsewhere: they say what more counts would do (`counts_needed`).
    """

    log_ratio: Floats
    standard_error: Floats
    degrees: Ints
    reason: Words
    compared: Bools
    weeks_before: Ints
    weeks_after: Ints
    stations: Ints
    other_stations: Bools
    factor: Floats
    noise: Floats

    @property
    def others(self) -> Ints:
        """(n_works,) -- how many stations stand for the comparison."""
        return np.asarray(self.other_stations.sum(axis=1), np.int64)

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


def work_effects(
    counts: Floats, effort: Floats, treated: Bools, weeks: Ints, place: Ints | None = None,
    outside: Outside | None = None,
) -> WorkEffects:  # fmt: skip
    """Compare the weeks after each work with those before, against places where nothing was done.

    Parameters
    ----------
    counts : (n_works, n_stations, n_weeks) float -- catches, zero or more; NaN = no count, and padding. [individuals]
    effort : (n_works, n_stations, n_weeks) float -- days up (times the part counted; animals for leg counts), above
        zero wherever there is a count. [days]
    treated : (n_works, n_stations) bool -- the station stands where the work was done.
    weeks : (n_weeks,) int -- which week each column is, counted from the work: -1 the last before it, 0 the first after
        it. They rise; gaps are allowed.
    place : (n_works, n_stations) int, from 0 -- in which place (barn, lot) each station stands; without it all others
        are one place.
    outside : Outside -- what is known of the weeks elsewhere, for works without any station to compare with.

    Returns
    -------
    WorkEffects

    Raises ValueError, naming the argument, for what is negative, infinite or unlike in shape.

    Notes
    -----
    Only stations counted both before and after are used, so that stations that come and go cannot move the result. For
    each place `week_effects` gives log week levels, with k 1.5: stations then weigh nearly alike, while a Poisson fit
    hears mostly the fullest one. `fit_step` takes out each place's level and, where there is a comparison, what each
    week does to all places alike, such as weather over the whole farm. What remains is known up to one factor:
    counting (scaled by how much the stations of the farm really scatter about their fit, Pearson's statistic with four
    degrees of freedom given to k 1.5), plus a shock of log sd 0.17 for each place with lag-one correlation 0.4, or of
    0.23 where there is no other place. The factor comes from the scatter of places and weeks, with t on their degrees
    of freedom: weeks - 2 for one other place, twice and three times as many for three and four places. The error is
    never taken below what counting alone gives, sqrt(1/Tb + 1/Ta + 1/Cb + 1/Ca) of the catches.

    How often the 95 % intervals hold, cell by cell, is in `docs/calibration/`, measured by
    `server/calibrate/work_effect.py`.

    A place that has not two weeks before and after in common with the treated one, or that catches under nine a week,
    is left out; without any, `compared` is False and the result is before and after alone. Weather that is not shared,
    a work done because the count was high (it would have come down somewhat by itself), and flies that cross from barn
    to barn are not taken out by any of this. Missing is never zero.

    References
    ----------
    Stewart-Oaten, Murdoch and Parker 1986, Environmental impact assessment: "pseudoreplication" in time?, Ecology
    67:929-940 (from memory), for taking weeks as the units; Underwood 1994, On beyond BACI, Ecol Appl 4:3-15 (from
    memory), for several places beside the one; Henderson and Tilton 1955, J Econ Entomol 48:157-161, whose ratio of
    ratios it is.

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
    place = np.zeros(treated.shape, np.int64) if place is None else place
    refuse_unlike(place, treated.shape, "place")
    counts = _on_both_sides(counts, weeks >= 0)
    row = np.where(treated, 0, place + 1)
    seen = _Seen.of(counts, effort, row, weeks)
    if outside is not None:
        seen = seen.beside(outside, weeks)
    mine = np.where(treated[:, :, None], counts, np.nan)
    reason = _reasons(mine, seen.places.used[:, 0], weeks)
    return _told(seen, counts, row, reason, weeks)


def _told(seen: "_Seen", counts: Floats, row: Ints, reason: Words, weeks: Ints) -> WorkEffects:
    """Put the fit together with what it rests on; NaN where there is a reason."""
    told, used, compared = reason == "", seen.places.used, seen.places.shared
    step = fit_step(seen.places, weeks >= 0)
    others = used[:, 1:].any(axis=2)
    of_others = np.take_along_axis(np.pad(others, ((0, 0), (1, 0))), np.minimum(row, others.shape[1]), axis=1)
    stands = of_others & (~np.isnan(counts)).any(axis=2)
    least = _counting_error(counts, row == 0, weeks) + np.where(
        stands.any(axis=1), _counting_error(counts, stands, weeks), 0.0
    )
    return WorkEffects(
        log_ratio=np.where(told, step.size, np.nan),
        standard_error=np.where(told, np.sqrt(np.maximum(np.nan_to_num(step.variance), least)), np.nan),
        degrees=np.where(told, step.degrees, 0),
        reason=reason,
        compared=compared & told,
        weeks_before=(used[:, 0] & (weeks < 0)).sum(axis=1),
        weeks_after=(used[:, 0] & (weeks >= 0)).sum(axis=1),
        stations=((row == 0) & (~np.isnan(counts)).any(axis=2)).sum(axis=1),
        other_stations=stands & told[:, None],
        factor=np.where(told, step.factor, np.nan),
        noise=np.where(used.any(axis=2), seen.noise, np.nan),
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
    """Mark what has two weeks on each side; the weeks are the last axis."""
    before, after = used[..., weeks < 0].sum(axis=-1), used[..., weeks >= 0].sum(axis=-1)
    return np.asarray(np.minimum(before, after) >= WEEKS_NEEDED, np.bool_)


def _totals(counts: Floats, weeks: Ints) -> Floats:
    """(n_works, 2) -- caught before and after."""
    caught = np.nan_to_num(counts).sum(axis=1)
    return np.stack([caught[:, weeks < 0].sum(axis=1), caught[:, weeks >= 0].sum(axis=1)], axis=1)


def _counting_error(counts: Floats, which: Bools, weeks: Ints) -> Floats:
    """Give 1/before + 1/after of some stations: the variance of a log ratio of Poisson counts."""
    totals = _totals(np.where(which[:, :, None], counts, np.nan), weeks)
    return np.asarray((1 / np.maximum(totals, 1.0)).sum(axis=1), np.float64)


def _caught_a_week(counts: Floats, weeks: Ints) -> Floats:
    """(n_works,) -- the mean catch of a week before the work; NaN where there is none."""
    have = (~np.isnan(counts)).any(axis=1) & (weeks < 0)
    caught = np.nan_to_num(counts).sum(axis=1).sum(axis=1, where=have)
    number = have.sum(axis=1)
    return np.asarray(np.where(number > 0, caught, np.nan) / np.maximum(number, 1), np.float64)


def _reasons(mine: Floats, used: Bools, weeks: Ints) -> Words:
    have: Bools = np.asarray((~np.isnan(mine)).any(axis=1), np.bool_)
    before, after = have[:, weeks < 0].sum(axis=1), have[:, weeks >= 0].sum(axis=1)
    why = [
        before + after == 0,
        before < WEEKS_NEEDED,
        after < WEEKS_NEEDED,
        ~(_totals(mine, weeks) > 0).all(axis=1),
        ~(_caught_a_week(mine, weeks) >= LEAST_CAUGHT),
        ~_enough(used, weeks),
    ]
    names = ["no_counts", "too_few_before", "too_few_after", "nothing_caught", "few_caught", "not_comparable"]
    return np.select(why, names, default="")


@dataclass(frozen=True)
class _Seen:
    """The places of each work, the worked one first, and the log variance that counting gives a week of each."""

    places: Places
    noise: Floats

    @classmethod
    def of(cls, counts: Floats, effort: Floats, row: Ints, weeks: Ints) -> "_Seen":
        """`row` (n_works, n_stations) is 0 where the work was done, else the place's number from 1."""
        sides = [np.where((row == each)[:, :, None], counts, np.nan) for each in range(int(row.max(initial=0)) + 1)]
        fits = [week_effects(side, effort, K_OF_WEIGHTS) for side in sides]
        used = np.stack([fit.used for fit in fits], axis=1)
        for each, side in enumerate(sides[1:], start=1):
            speaks = (_caught_a_week(side, weeks) >= LEAST_CAUGHT) & (_totals(side, weeks) > 0).all(axis=1)
            used[:, each] &= used[:, 0] & speaks[:, None]
        used[:, 1:] &= _enough(used[:, 1:], weeks)[:, :, None]
        compared = np.asarray(used[:, 1:].any(axis=(1, 2)), np.bool_)
        used[:, 0] &= np.where(compared[:, None], used[:, 1:].any(axis=1), used[:, 0])
        counted = [np.where(used[:, each, None], side, np.nan) for each, side in enumerate(sides)]
        noise = np.stack([fit.noise for fit in fits], axis=1) * _dispersion(fits, counted, effort)[:, None, None, None]
        level = np.nan_to_num(np.stack([fit.effects for fit in fits], axis=1))
        # s^2 r^|t - u| for each barn, or for the farm where nothing takes it out
        shock = np.where(compared, BARN_SHOCK**2, FARM_SHOCK**2)[:, None, None, None] * lingering(weeks)
        return cls(Places(level, noise + shock, used, compared), _a_week(noise, used))

    def beside(self, outside: Outside, weeks: Ints) -> "_Seen":
        """The same with one place more where a work has no other: what is known of the weeks elsewhere."""
        places = self.places
        alone: Bools = np.asarray(~places.shared, np.bool_)
        known = ~np.isnan(outside.log_level) & places.used[:, 0] & alone[:, None]
        known &= _enough(known, weeks)[:, None]
        joined: Bools = np.asarray(known.any(axis=1), np.bool_)
        used = np.concatenate([places.used, known[:, None]], axis=1)
        used[:, 0] &= np.where(joined[:, None], known, places.used[:, 0])
        variance = np.where(known, outside.variance, 1.0)[:, None, :, None] * np.eye(len(weeks))
        level = np.concatenate([places.level, np.where(known, outside.log_level, 0.0)[:, None]], axis=1)
        covariance = np.concatenate([places.covariance, variance], axis=1)
        noise = np.concatenate([self.noise, np.where(known, outside.variance, 0.0).mean(axis=1)[:, None]], axis=1)
        return _Seen(Places(level, covariance, used, places.shared | joined), noise)


def lingering(weeks: Ints) -> Floats:
    """(n_weeks, n_weeks) -- how much of a week's shock goes on to another week."""
    return np.asarray(LINGERS ** np.abs(np.subtract.outer(weeks, weeks)).astype(np.float64), np.float64)


def _a_week(noise: Floats, used: Bools) -> Floats:
    """(n_works, n_places) -- the mean variance of a week's level, its place's level known."""
    weeks = used.sum(axis=2)
    total = np.where(used, np.diagonal(noise, axis1=2, axis2=3), 0.0).sum(axis=2)
    # Around their own mean, n weeks of variance v have v (1 - 1/n).
    return np.asarray(total / np.maximum(weeks - 1, 1), np.float64)


def _dispersion(fits: list[WeekEffects], sides: list[Floats], effort: Floats) -> Floats:
    """(n_works,) -- how much counts scatter about their fits, 1 as a negative binomial with k 1.5 does."""
    squares, degrees = np.zeros(len(effort)), np.zeros(len(effort))
    for fit, counts in zip(fits, sides, strict=True):
        mean = effort * np.exp(np.clip(fit.stations[:, :, None] + fit.effects[:, None, :], -50.0, 50.0))
        have = ~np.isnan(counts) & ~np.isnan(mean)
        # Pearson: squared residual over mu + mu^2/k
        squares += np.where(have, (counts - mean) ** 2 / (mean + mean**2 / K_OF_WEIGHTS), 0.0).sum(axis=(1, 2))
        # (stations - 1)(weeks - 1) where none is missing
        fitted = have.any(axis=2).sum(axis=1) + have.any(axis=1).sum(axis=1) - have.any(axis=(1, 2))
        degrees += np.maximum(have.sum(axis=(1, 2)) - fitted, 0)
    return np.asarray((squares + DEGREES_OF_K) / (degrees + DEGREES_OF_K), np.float64)
