"""Sums of stations by whose they are: a farm or a facility, and a method."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from monitoring.analysis.shapes import Floats, Ints


@dataclass(frozen=True)
class OwnerSums:
    """Adds rows of stations up by owner.

    Parameters
    ----------
    owner : (n_stations,) int -- whose each station is, from 0.
    shape : (n_owners, n_weeks)

    Examples
    --------
    >>> OwnerSums(np.array([0, 1, 0]), (2, 1))([[1.0], [5.0], [2.0]])
    array([[3.],
           [5.]])
    """

    owner: Ints
    shape: tuple[int, int]

    def __call__(self, values: ArrayLike) -> Floats:
        """Add (n_stations, n_weeks) values without NaN; an owner without stations gets 0."""
        n_owners, n_weeks = self.shape
        cell = (self.owner[:, None] * n_weeks + np.arange(n_weeks)).ravel()
        weights = np.asarray(values, np.float64).ravel()
        sums = np.bincount(cell, weights=weights, minlength=n_owners * n_weeks)
        return np.asarray(sums, np.float64).reshape(self.shape)
