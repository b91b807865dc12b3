"""The kinds of arrays that the analysis takes and gives, and the refusals they share."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Days = NDArray[np.datetime64]
Words = NDArray[np.str_]


def refuse(wrong: Bools, name: str, must: str) -> None:
    """Raise ValueError where any entry is wrong, naming the argument and the place of the first wrong entry.

    Examples
    --------
    >>> refuse(np.array([False, True]), "counts", "must not be negative")
    Traceback (most recent call last):
    ValueError: counts must not be negative; look at index (1,).
    """
    if wrong.any():
        place = tuple(int(index) for index in np.argwhere(wrong)[0])
        raise ValueError(f"{name} {must}; look at index {place}.")


def refuse_unlike(array: NDArray[np.generic], shape: tuple[int, ...], name: str) -> None:
    """Raise ValueError where an array has not the shape that the others call for."""
    if array.shape != shape:
        raise ValueError(f"{name} must have the shape {shape}; it has {array.shape}.")


def stretched(array: Floats, shape: tuple[int, ...], name: str) -> Floats:
    """Stretch an array to a shape that it goes with; ValueError, naming the argument, where it doesn't.

    Examples
    --------
    >>> stretched(np.array(2.0), (3,), "level")
    array([2., 2., 2.])
    """
    try:
        return np.broadcast_to(array, shape)
    except ValueError:
        raise ValueError(f"{name} must go with the shape {shape}; it has {array.shape}.") from None


def refuse_outside(index: Ints, size: int, name: str) -> None:
    """Raise ValueError where an index is negative or not below `size`."""
    refuse((index < 0) | (index >= size), name, f"must lie from 0 to {size - 1}")
