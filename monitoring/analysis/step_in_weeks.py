"""A step at a day in one place's weeks, beside places without one: levels, weeks and step fitted together."""

from dataclasses import dataclass

import numpy as np

from monitoring.analysis.shapes import Bools, Floats, Ints


@dataclass(frozen=True)
class Places:
    """Log week levels of some places, each known up to a shift; row 0 of the second axis is the one with the step.

    `level` (n, places, weeks); `covariance` (n, places, weeks, weeks), up to one factor for all places; `used`
    (n, places, weeks) marks what is there. Places are independent of one another but for what `shared` says: where it
    is true (n,), each week moves all places alike, and every week used is one of row 0 and of another row.
    """

    level: Floats
    covariance: Floats
    used: Bools
    shared: Bools


@dataclass(frozen=True)
class Step:
    """The step of each (n,), its variance where the factor is one, the factor from the scatter, and its degrees."""

    size: Floats
    unit_variance: Floats
    factor: Floats
    degrees: Ints

    @property
    def variance(self) -> Floats:
        return self.unit_variance * self.factor


def degrees_of(used: Bools, shared: Bools) -> Ints:
    """Give cells less what is fitted: a level a place, the step, and where weeks are shared one a week but the first.

    Examples
    --------
    >>> degrees_of(np.ones((2, 3, 6), bool), np.array([True, True]))  # (3 - 1)(6 - 1) - 1
    array([9, 9])
    """
    cells, places = used.sum(axis=(1, 2)), used.any(axis=2).sum(axis=1)
    weeks = np.where(shared, used.any(axis=1).sum(axis=1) - 1, 0)
    return np.asarray(cells - places - weeks - 1, np.int64)


def fit_step(places: Places, after: Bools) -> Step:
    """Fit level + week + step by generalised least squares, many works at once.

    Parameters
    ----------
    places : Places -- what is not marked in `used` is not looked at.
    after : (weeks,) bool -- the weeks after the step.

    Returns
    -------
    Step -- `factor` is the weighted sum of squares over the degrees, NaN where there are none.

    Notes
    -----
    With P = V^-1 - V^-1 1 (1' V^-1 1)^-1 1' V^-1 of a place, which takes its level out, shared weeks are the solution
    of (sum P) w = sum P y: matrices as wide as the weeks, however many places there are. Where weeks are shared, the
    step is told from places as well as from weeks, so three places leave far more degrees than one.

    References
    ----------
    Searle 1971, Linear Models (from memory), for the absorption of levels.

    Examples
    --------
    >>> level = np.array([[[1.0, 3.0, 1.0, 3.0], [2.0, 4.0, 4.0, 6.0]]])
    >>> used = np.ones((1, 2, 4), bool)
    >>> places = Places(level, np.broadcast_to(np.eye(4), (1, 2, 4, 4)), used, np.array([True]))
    >>> fit_step(places, np.array([False, False, True, True])).size
    array([-2.])
    """
    free = _without_level(places)
    step = np.asarray(after, np.float64)
    stepped = free[:, 0] @ step
    told = np.matmul(free, np.where(places.used, places.level, 0.0)[..., None])[..., 0]
    squares = (told * np.where(places.used, places.level, 0.0)).sum(axis=(1, 2))
    by_week = _weeks_taken_out(free.sum(axis=1), places)
    weeks = np.matmul(by_week, told.sum(axis=1)[:, :, None])[:, :, 0]
    step_weeks = np.matmul(by_week, stepped[:, :, None])[:, :, 0]
    information = stepped @ step - (stepped * step_weeks).sum(axis=1)
    score = told[:, 0] @ step - (stepped * weeks).sum(axis=1)
    known: Bools = np.asarray(information > 0, np.bool_)
    size = np.where(known, score, np.nan) / np.where(known, information, 1.0)
    rest = squares - (told.sum(axis=1) * weeks).sum(axis=1) - np.where(known, size * score, 0.0)
    degrees = degrees_of(places.used, places.shared)
    factor = np.where(degrees > 0, np.maximum(rest, 0.0), np.nan) / np.maximum(degrees, 1)
    return Step(size, np.where(known, 1.0, np.nan) / np.where(known, information, 1.0), factor, degrees)


def unit_variance(covariance: Floats, used: Bools, shared: Bools, after: Bools) -> Floats:
    """Give the variance that a step will have with such places and weeks, before anything is counted."""
    return fit_step(Places(np.zeros(used.shape), covariance, used, shared), after).unit_variance


def _without_level(places: Places) -> Floats:
    """(n, places, weeks, weeks) -- P of each place, zero where nothing is used."""
    inside = places.used[..., :, None] & places.used[..., None, :]
    # Levels are known up to a shift; the same number in every cell says so and moves no contrast.
    regular = np.where(inside, places.covariance + 1.0, np.eye(places.used.shape[-1]))
    inverse = np.where(inside, np.linalg.inv(regular), 0.0)
    ones = inverse.sum(axis=-1)
    total = ones.sum(axis=-1)[..., None, None]
    return np.asarray(inverse - ones[..., :, None] * ones[..., None, :] / np.where(total > 0, total, 1.0), np.float64)


def _weeks_taken_out(weight: Floats, places: Places) -> Floats:
    """Invert the weeks' normal matrix where they are shared, zero elsewhere; it is regular but for the common level."""
    used: Bools = np.asarray(places.used.any(axis=1) & places.shared[:, None], np.bool_)
    inside = used[:, :, None] & used[:, None, :]
    inverse = np.linalg.inv(np.where(inside, weight + 1.0, np.eye(used.shape[1])))
    return np.asarray(np.where(inside, inverse, 0.0), np.float64)
