"""How high was each week on the same stations? The negative-binomial fit under the trend, for many farms at once."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from monitoring.analysis.shapes import Bools, Floats, Ints, refuse, refuse_unlike, stretched

# Farms fitted together; about 500 stay in the processor's cache.
CHUNK = 500
HALF_A_COUNT = 0.5
# Steps this short are taken whole; then the error is about the square of the last step.
WHOLE_STEP, LAST_STEP = 0.1, 1e-6
MOST_STEPS = 200
MOST = 1e9
POISSON = np.inf


@dataclass(frozen=True)
class WeekEffects:
    """What a fit says of each farm's weeks; see `week_effects`.

    `effects` (n_farms, n_weeks) -- log week effects with mean zero over the weeks of the fit; NaN = a week not in it.
    `noise` (n_farms, n_weeks, n_weeks) -- the covariance that counting gives them (the inverse of the expected
    information, stations taken out), zero where a week is not in the fit. `stations` (n_farms, n_stations) -- log catch
    a day (or an animal) of each station in a mean week; NaN = not in the fit.
    """

    effects: Floats
    noise: Floats
    stations: Floats

    @property
    def used(self) -> Bools:
        """(n_farms, n_weeks) -- the weeks of the fit."""
        return ~np.isnan(self.effects)


def week_effects(counts: Floats, days: Floats, k: ArrayLike = POISSON) -> WeekEffects:
    """Fit log mean = station + week + log(days) to negative-binomial counts of every farm.

    Parameters
    ----------
    counts : (n_farms, n_stations, n_weeks) float -- catches, zero or more; NaN = no count (and padding). [individuals]
    days : (n_farms, n_stations, n_weeks) float -- days up (times the part counted), above zero wherever there is a
        count; anywhere else it is not looked at. [days]
    k : number, or array that goes with the shape of counts -- variance m + m^2/k; infinite = Poisson.

    Returns
    -------
    WeekEffects

    Raises ValueError, naming the argument, for a count that is negative, infinite or above a billion, an exposure
    that is not a number above zero under a count, or a k that is not above zero.

    Notes
    -----
    The choices, in this order, so that another program can do the same:

    1. A station without a single catch in the window is left out: it cannot say how weeks differ.
    2. A week without a single catch on the stations left gets half a count, shared among its counted stations in
       proportion to their days; otherwise its effect would be minus infinity.
    3. Weeks can be compared only through stations counted in several of them. Week s is reached from week t if some
       station that caught in t was counted in s. The fit exists where every week is reached from every other (Ford
       1957, for Poisson; a negative binomial grows and falls towards its ends in the same directions); kept are the
       weeks that the newest week reaches and is reached from, and the others are NaN.
    4. Missing is never zero: a cell without a count is in no sum.

    The log likelihood is concave; stations are eliminated from each Newton step, which leaves a system as wide as the
    weeks. Steps of damped length log(1 + v)/v, v the largest change of a cell's log mean, find the maximum from
    anywhere, because the log of a sum of exponentials is self-concordant; near it they are taken whole.

    References
    ----------
    McCullagh and Nelder 1989, Generalized Linear Models, 2nd ed., ch. 11 (from memory), for the fit with k given. Ford
    1957, Solution of a ranking problem from binary comparisons, Amer Math Monthly 64:28-33 (from memory). Sun and
    Tran-Dinh 2019, Generalized self-concordant functions, Math Program 178:145-213, doi 10.1007/s10107-018-1282-4, for
    the damped step.

    Examples
    --------
    >>> counts = np.array([[[10.0, 20.0, 40.0], [5.0, np.nan, 20.0]]])
    >>> fit = week_effects(counts, np.full((1, 2, 3), 7.0), 1.5)
    >>> np.round(fit.effects / np.log(2), 6) + 0.0
    array([[-1.,  0.,  1.]])
    """
    _refuse_bad(counts, days)
    each_k = stretched(np.asarray(k, np.float64), counts.shape, "k")
    refuse(~(each_k > 0), "k", "must be above zero; infinite is Poisson")
    n_farms, n_stations, n_weeks = counts.shape
    found = WeekEffects(
        np.full((n_farms, n_weeks), np.nan),
        np.zeros((n_farms, n_weeks, n_weeks)),
        np.full((n_farms, n_stations), np.nan),
    )
    for start in range(0, n_farms, CHUNK):
        part = slice(start, start + CHUNK)
        fit = _Fit.of(counts[part], days[part], 1 / each_k[part])
        fit.climb()
        found.effects[part], found.noise[part], found.stations[part] = fit.result()
    return found


def _refuse_bad(counts: Floats, days: Floats) -> None:
    if counts.ndim != 3:
        raise ValueError("counts must have three axes: farms, stations, weeks.")
    if counts.shape[2] == 0:
        raise ValueError("counts must have a week at least.")
    refuse_unlike(days, counts.shape, "days")
    refuse((counts < 0) | (counts > MOST), "counts", "must be numbers from 0 to a billion, or NaN for missing")
    wrong = ~np.isnan(counts) & ~((days >= 1 / MOST) & (days <= MOST))
    refuse(wrong, "days", "must be numbers above zero, at most a billion, wherever there is a count")


@dataclass
class _Fit:
    """The climb to the maximum of some farms' likelihoods; `y`, `d` and `inverse_k` are (farms, stations, weeks)."""

    y: Floats
    d: Floats
    inverse_k: Floats
    weeks: Bools
    effects: Floats
    stations: Floats

    @classmethod
    def of(cls, counts: Floats, days: Floats, inverse_k: Floats) -> "_Fit":
        y, d, weeks = _prepare(counts, days)
        station_days, caught = _over_weeks(d), _over_weeks(y)
        usual = np.where(station_days > 0, caught / np.maximum(station_days, 1 / MOST), 1.0)
        expected = np.matmul(usual[:, None, :], d)[:, 0, :]
        ratio = np.where(weeks, _over_stations(y), 1.0) / np.where(weeks, expected, 1.0)
        return cls(y, d, inverse_k, weeks, np.log(ratio), np.log(np.maximum(usual, 1 / MOST)))

    def climb(self) -> None:
        """Take Newton steps until every farm's step is short; a farm that is done is set aside."""
        active: Ints = np.flatnonzero(self.weeks.sum(axis=1) > 1)
        for _ in range(MOST_STEPS):
            if active.size == 0:
                return
            by_week, by_station = self._step(active)
            change = np.abs(by_week[:, None, :] + by_station[:, :, None]) * (self.d[active] > 0)
            span = change.max(axis=(1, 2))
            length = np.where(span < WHOLE_STEP, 1.0, np.log1p(span) / np.maximum(span, WHOLE_STEP))
            self.effects[active] += by_week * length[:, None]
            self.stations[active] += by_station * length[:, None]
            active = active[span > LAST_STEP]
        self.weeks[active] = False

    def _means(self, active: Ints) -> Floats:
        log_mean = self.stations[active][:, :, None] + self.effects[active][:, None, :]
        return self.d[active] * np.exp(np.clip(log_mean, -200.0, 200.0))

    def _step(self, active: Ints) -> tuple[Floats, Floats]:
        """Give the Newton step of weeks and stations: stations are eliminated, H db = r_week - w' (r_station / A)."""
        y, inverse_k, weeks = self.y[active], self.inverse_k[active], self.weeks[active]
        mean = self._means(active)
        share = 1 / (1 + mean * inverse_k)
        # With v = 1/(1 + mu/k): score (y - mu) v, observed information mu v^2 (1 + y/k), of a cell's log mean.
        score = (y - mean) * share * (self.d[active] > 0)
        weight = mean * share * share * (1 + y * inverse_k)
        own, off, hessian = _eliminated(weight, weeks)
        station_score = _over_weeks(score)
        right = (_over_stations(score) - np.matmul(station_score[:, None, :], off)[:, 0, :]) * weeks
        by_week = np.linalg.solve(hessian, right[:, :, None])[:, :, 0] * weeks
        by_station = (station_score - np.matmul(weight, by_week[:, :, None])[:, :, 0]) / own
        return by_week, by_station * (_over_weeks(self.d[active]) > 0)

    def result(self) -> tuple[Floats, Floats, Floats]:
        """Give effects with mean zero, their covariance and the stations' log rates, NaN outside the fit."""
        number = np.maximum(self.weeks.sum(axis=1), 1)
        level = self.effects.sum(axis=1, where=self.weeks) / number
        effects = np.where(self.weeks, self.effects - level[:, None], np.nan)
        live = (_over_weeks(self.d * self.weeks[:, None, :]) > 0) & (self.weeks.sum(axis=1) > 1)[:, None]
        return effects, self._noise(), np.where(live, self.stations + level[:, None], np.nan)

    def _noise(self) -> Floats:
        """Invert the expected information of the week effects, mu v with the stations eliminated, on its contrasts."""
        mean = self._means(np.arange(len(self.y)))
        _, _, information = _eliminated(mean / (1 + mean * self.inverse_k) * self.weeks[:, None, :], self.weeks)
        inverse = np.linalg.inv(information)
        # Taking the mean over the weeks of the fit away removes what stands for the level.
        used = self.weeks / np.maximum(self.weeks.sum(axis=1), 1)[:, None]
        inverse = inverse * (self.weeks[:, :, None] & self.weeks[:, None, :])
        rows = np.matmul(inverse, used[:, :, None])
        total = np.matmul(used[:, None, :], rows)
        noise: Floats = inverse - rows - rows.transpose(0, 2, 1) + total
        return noise * (self.weeks[:, :, None] & self.weeks[:, None, :])


def _eliminated(weight: Floats, weeks: Bools) -> tuple[Floats, Floats, Floats]:
    """Give each station's weight A, w / A, and diag(B) - w' (w / A) made regular along the common level."""
    own = _over_weeks(weight)
    own = np.where(own > 0, own, 1.0)
    off = weight / own[:, :, None]
    hessian = -np.matmul(off.transpose(0, 2, 1), weight)
    diagonal = np.arange(hessian.shape[1])
    total = _over_stations(weight)
    hessian[:, diagonal, diagonal] += np.where(weeks, total, 1.0)
    level = total.sum(axis=1) / np.maximum(weeks.sum(axis=1), 1)
    hessian += np.maximum(level, 1 / MOST)[:, None, None] * (weeks[:, :, None] * weeks[:, None, :])
    return own, off, hessian


def _prepare(counts: Floats, days: Floats) -> tuple[Floats, Floats, Bools]:
    """Give counts and days with zeros for what is not in the fit, and the weeks that are."""
    missing = np.isnan(counts)
    y = np.where(missing, 0.0, counts)
    d = np.where(missing | (_over_weeks(y) == 0)[:, :, None], 0.0, days)
    week_days = _over_stations(d)
    empty = (week_days > 0) & (_over_stations(y) == 0)
    if empty.any():
        share = d / np.where(week_days > 0, week_days, 1.0)[:, None, :]
        y += np.where(empty[:, None, :], HALF_A_COUNT * share, 0.0)
    weeks = _joined_to_newest(y > 0, d > 0)
    if weeks.all():
        return y, d, weeks
    y = np.where(weeks[:, None, :], y, 0.0)
    # A station that caught in left-out weeks only has nothing to say either: its effect would fall without end.
    return y, np.where(weeks[:, None, :] & (_over_weeks(y) > 0)[:, :, None], d, 0.0), weeks


def _over_weeks(values: Floats) -> Floats:
    """Add up each station's weeks; a matrix product is faster than a sum over a short axis."""
    return values @ np.ones(values.shape[2])


def _over_stations(values: Floats) -> Floats:
    """Add up each week's stations."""
    return np.ones(values.shape[1]) @ values


def _joined_to_newest(caught: Bools, counted: Bools) -> Bools:
    """Mark the weeks that the newest week reaches and is reached from; see note 3 of `week_effects`."""
    n_weeks = caught.shape[2]
    used = np.asarray(counted.any(axis=1), np.bool_)
    reach = _product(caught.transpose(0, 2, 1), counted) | (np.eye(n_weeks, dtype=bool) & used[:, None, :])
    # Squaring joins paths of twice the length; a path has at most n_weeks - 1 steps.
    for _ in range(int(n_weeks - 1).bit_length()):
        reach = _product(reach, reach)
    both = reach & reach.transpose(0, 2, 1)
    newest = n_weeks - 1 - np.argmax(used[:, ::-1], axis=1)
    return np.asarray(both[np.arange(len(used)), newest], np.bool_)


def _product(left: Bools, right: Bools) -> Bools:
    """Multiply as "or of ands"; floats, because only they go through the fast matrix product."""
    return np.asarray(np.matmul(left.astype(np.float32), right.astype(np.float32)) > 0, np.bool_)
