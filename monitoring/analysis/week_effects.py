"""How high was each week on the same stations? The Poisson fit under the trend, for many farms at once."""

import numpy as np

from monitoring.analysis.shapes import Bools, Floats, Ints, refuse, refuse_unlike

# Farms fitted together; about 500 stay in the processor's cache.
CHUNK = 500
HALF_A_COUNT = 0.5
# Steps this short are taken whole; then the error is about the square of the last step.
WHOLE_STEP, LAST_STEP = 0.1, 1e-6
MOST_STEPS = 200
MOST = 1e9


def week_effects(counts: Floats, days: Floats) -> Floats:
    """Fit log mean = station + week + log(days) to Poisson counts and give the week effects of every farm.

    Parameters
    ----------
    counts : (n_farms, n_stations, n_weeks) float -- catches, zero or more; NaN = no count (and padding). [individuals]
    days : (n_farms, n_stations, n_weeks) float -- days up (times the part counted), above zero wherever there is a
        count; anywhere else it is not looked at. [days]

    Returns
    -------
    (n_farms, n_weeks) float -- log week effects with mean zero over the weeks of the fit; NaN = a week not in it.

    Raises ValueError, naming the argument, for a count that is negative, infinite or above a billion, or an exposure
    that is not a number above zero under a count.

    Notes
    -----
    The choices, in this order, so that another program can do the same:

    1. A station without a single catch in the window is left out: it cannot say how weeks differ.
    2. A week without a single catch on the stations left gets half a count, shared among its counted stations in
       proportion to their days; otherwise its effect would be minus infinity.
    3. Weeks can be compared only through stations counted in several of them. Week s is reached from week t if some
       station that caught in t was counted in s. The fit exists where every week is reached from every other (Ford
       1957); kept are the weeks that the newest week reaches and is reached from, and the others are NaN.
    4. Missing is never zero: a cell without a count is in no sum.

    Given the week effects b, the best station effects are known exactly, which leaves the multinomial likelihood
    of each station's catches over weeks. Newton steps of damped length log(1 + v)/v, v the range of the step, find its
    maximum from anywhere, because the log of a sum of exponentials is self-concordant; near it they are taken whole.

    References
    ----------
    Ford 1957, Solution of a ranking problem from binary comparisons, Amer Math Monthly 64:28-33 (from memory). Sun and
    Tran-Dinh 2019, Generalized self-concordant functions, Math Program 178:145-213, doi 10.1007/s10107-018-1282-4, for
    the damped step.

    Examples
    --------
    >>> counts = np.array([[[10.0, 20.0, 40.0], [5.0, np.nan, 20.0]]])
    >>> np.round(week_effects(counts, np.full((1, 2, 3), 7.0)) / np.log(2), 6) + 0.0
    array([[-1.,  0.,  1.]])
    """
    _refuse_bad(counts, days)
    effects = np.full((counts.shape[0], counts.shape[2]), np.nan)
    for start in range(0, counts.shape[0], CHUNK):
        part = slice(start, start + CHUNK)
        effects[part] = _fit(*_prepare(counts[part], days[part]))
    return effects


def _refuse_bad(counts: Floats, days: Floats) -> None:
    if counts.ndim != 3:
        raise ValueError("counts must have three axes: farms, stations, weeks.")
    refuse_unlike(days, counts.shape, "days")
    refuse((counts < 0) | (counts > MOST), "counts", "must be numbers from 0 to a billion, or NaN for missing")
    wrong = ~np.isnan(counts) & ~((days >= 1 / MOST) & (days <= MOST))
    refuse(wrong, "days", "must be numbers above zero, at most a billion, wherever there is a count")


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
    return np.where(weeks[:, None, :], y, 0.0), np.where(weeks[:, None, :], d, 0.0), weeks


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


def _fit(y: Floats, d: Floats, weeks: Bools) -> Floats:
    """Run Newton steps until every farm's step is small; a farm that is done is set aside."""
    station_total, week_total = _over_weeks(y), _over_stations(y)
    effects = _start(station_total, week_total, d, weeks)
    active: Ints = np.flatnonzero(weeks.sum(axis=1) > 1)
    for _ in range(MOST_STEPS):
        if active.size == 0:
            break
        step = _newton_step(effects[active], d[active], station_total[active], week_total[active], weeks[active])
        span = step.max(axis=1) - step.min(axis=1)
        effects[active] += step * _damping(span)[:, None]
        active = active[span > LAST_STEP]
    effects[active] = np.nan
    level = effects.sum(axis=1, where=weeks) / np.maximum(weeks.sum(axis=1), 1)
    return np.where(weeks, effects - level[:, None], np.nan)


def _start(station_total: Floats, week_total: Floats, d: Floats, weeks: Bools) -> Floats:
    """Start from the logs of each week's catches over what the stations would catch in as many days of a usual week."""
    usual = station_total / np.maximum(_over_weeks(d), 1 / MOST)
    expected = np.matmul(usual[:, None, :], d)[:, 0, :]
    ratio = np.where(weeks, week_total, 1.0) / np.where(weeks, expected, 1.0)
    return np.log(ratio)


def _damping(span: Floats) -> Floats:
    """Give log(1 + v) / v for long steps and 1 for short ones."""
    return np.where(span < WHOLE_STEP, 1.0, np.log1p(span) / np.maximum(span, WHOLE_STEP))


def _newton_step(effects: Floats, d: Floats, station_total: Floats, week_total: Floats, weeks: Bools) -> Floats:
    """Solve H x = score; H is singular along equal shifts of all weeks, which a rank-one term takes care of."""
    top = effects.max(axis=1, where=weeks, initial=-np.inf)
    e = np.where(weeks, np.exp(np.maximum(effects - top[:, None], -200.0)), 0.0)
    # With s_i = sum_t d_it e_t and n_i a station's catches, station i expects n_i d_it e_t / s_i in week t:
    # score_t = y_t - sum_i n_i d_it e_t / s_i
    # H_ts = [t = s] sum_i n_i d_it e_t / s_i - sum_i n_i d_it e_t d_is e_s / s_i^2
    reach = np.matmul(d, e[:, :, None])[:, :, 0]
    reach = np.where(reach > 0, reach, 1.0)
    rate = station_total / reach
    expected = np.matmul(rate[:, None, :], d)[:, 0, :] * e
    hessian = np.matmul((d * (rate / reach)[:, :, None]).transpose(0, 2, 1), d)
    hessian *= -(e[:, :, None] * e[:, None, :])
    hessian += (weeks * week_total.sum(axis=1, keepdims=True))[:, :, None] * weeks[:, None, :]
    diagonal = np.arange(hessian.shape[1])
    hessian[:, diagonal, diagonal] += np.where(weeks, expected, 1.0)
    step: Floats = np.linalg.solve(hessian, (week_total - expected)[:, :, None])[:, :, 0]
    return step
