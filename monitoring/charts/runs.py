"""Weeks that follow each other without a gap."""

from collections.abc import Iterator, Sequence
from itertools import groupby


def runs(values: Sequence[float | None]) -> Iterator[range]:
    """The stretches of indices that hold a value; a line is drawn along a stretch and never across a gap."""
    for counted, group in groupby(enumerate(values), key=lambda pair: pair[1] is not None):
        indices = [index for index, _ in group]
        if counted:
            yield range(indices[0], indices[-1] + 1)


def equal_runs(values: Sequence[float | None]) -> Iterator[tuple[range, float]]:
    """The stretches of indices that hold one and the same value, with that value."""
    for value, group in groupby(enumerate(values), key=lambda pair: pair[1]):
        indices = [index for index, _ in group]
        if value is not None:
            yield range(indices[0], indices[-1] + 1), value
