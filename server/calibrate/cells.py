"""How are the cells of a claim measured, each with a seed of its own, and how sure is each figure?"""

import os
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from typing import Any, TypeVar
from zlib import crc32

import numpy as np

from monitoring.analysis.shapes import Bools, Floats

PROCESSES = 2
# What is small is done by one thread: two processes share two cores already.
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")

CellKind = TypeVar("CellKind")
Row = dict[str, Any]


def over_cells(
    measure: Callable[[np.random.Generator, CellKind, int], Row],
    cells: Sequence[CellKind],
    farms: int,
    seed: int,
    processes: int = PROCESSES,
) -> list[Row]:
    """Measure every cell.

    Parameters
    ----------
    measure : a function of a module (it is sent to another process): generator, cell, farms -> a row of figures.
    cells : frozen dataclasses; what they say of themselves is part of their seed.
    farms, seed : int
    processes : int -- 1 = in this one.

    Returns
    -------
    list of rows, in the order of the cells; they depend neither on the number of processes nor on the other cells.
    """
    one = partial(_measured, measure, farms, seed)
    if processes == 1:
        return [one(cell) for cell in cells]
    os.environ.update({name: os.environ.get(name, one) for name, one in ONE_THREAD.items()})
    # Spawned, not forked: what starts it may hold connections and threads.
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        return list(pool.map(one, cells))


def rng_of(seed: int, *what: object) -> np.random.Generator:
    """Give the generator of one cell: the same wherever and whenever the cell is measured."""
    return np.random.default_rng([seed, crc32(repr(what).encode())])


def _measured(
    measure: Callable[[np.random.Generator, CellKind, int], Row], farms: int, seed: int, cell: CellKind
) -> Row:
    return measure(rng_of(seed, measure.__module__, measure.__qualname__, cell), cell, farms)


def share(name: str, marks: Bools) -> Row:
    """Give the share of marked farms under a name, with its standard error as `<name>_error`."""
    value = float(marks.mean())
    # One more of each kind, or a share of 0 or 1 would pass for certain.
    near = (marks.sum() + 1) / (marks.size + 2)
    return {name: value, f"{name}_error": float(np.sqrt(near * (1 - near) / marks.size))}


def mean_of(name: str, values: Floats | Iterable[float]) -> Row:
    """Give the mean of independent values under a name, with its standard error: networks, or simulated weeks."""
    each = np.asarray(list(values), np.float64)
    return {name: float(each.mean()), f"{name}_error": float(each.std(ddof=1) / np.sqrt(each.size))}
