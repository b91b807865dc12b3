"""What was made of the same values before: pictures, tables and figures of weeks that nobody counts anew.

Each process keeps its own. The key is all that a thing is made of, read by this very request through both walls, so
that nobody is given what they did not read.
"""

from collections.abc import Callable, Hashable
from functools import lru_cache
from typing import Any, TypeVar

import numpy as np

Made = TypeVar("Made")
# A picture in two widths with its table has some 20 kB, a line of a list 2: at most 60 MB, in fact far less.
MOST = 3_000


class _Asked:
    """A key, and for the first one who asks by it how the thing is made."""

    __slots__ = ("key", "make")

    def __init__(self, key: Hashable, make: Callable[[], Any]) -> None:
        self.key, self.make = key, make

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Asked) and self.key == other.key

    def __hash__(self) -> int:
        return hash(self.key)


def kept(key: Hashable, make: Callable[[], Made]) -> Made:
    """What `make` gives, made once for a key. The key begins with a word of its own kind, and the thing is not changed
    afterwards by anybody.
    """
    asked = _Asked(key, make)
    found: Made = _made(asked)
    # Else the key would keep all that its maker knows of a request.
    asked.make = _spent
    return found


@lru_cache(maxsize=MOST)
def _made(asked: _Asked) -> Any:
    return asked.make()


def _spent() -> None:
    raise AssertionError("A kept thing is made once.")


def forget() -> None:
    """Let everything go."""
    _made.cache_clear()


def content_of(*arrays: Any) -> Hashable:
    """Arrays (None for none) as a key: the same shapes, types and bytes."""
    told = (None if each is None else np.ascontiguousarray(each) for each in arrays)
    return tuple(each if each is None else (each.shape, each.dtype.str, each.tobytes()) for each in told)
