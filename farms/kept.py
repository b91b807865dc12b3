"""What was made of the same values before: pictures, tables and figures of weeks that nobody counts anew.

Each process keeps its own. The key is all that a thing is made of, read by this very request through both walls, so
that nobody is given what they did not read: the values themselves, or the versions of the rows that they stand in
(`farms.row_versions`).
"""

from collections.abc import Callable, Collection, Hashable, Mapping
from threading import Lock
from typing import Any, TypeVar

import numpy as np
from cachetools import LRUCache

Name = TypeVar("Name", bound=Hashable)
Made = TypeVar("Made")
# Bytes a process. A text has its length; a picture in two widths with its table has some 20 kB, a line of a list 2.
MOST, USUAL = 60_000_000, 10_000
_NOTHING = object()


def _weight(made: Any) -> int:
    return len(made) if isinstance(made, str) else USUAL


_things: LRUCache[Hashable, Any] = LRUCache(MOST, getsizeof=_weight)
_one_at_a_time = Lock()  # a look moves a thing ahead of others, so it is a change too


def kept(key: Hashable, make: Callable[[], Made]) -> Made:
    """What `make` gives, made once for a key. The key begins with a word of its own kind, and the thing is not changed
    afterwards by anybody.
    """
    found: Made = kept_of_each({None: key}, lambda _names: {None: make()})[None]
    return found


def kept_of_each(
    keys: Mapping[Name, Hashable], make: Callable[[Collection[Name]], Mapping[Name, Made]]
) -> dict[Name, Made]:
    """The same for many: `make` is given the names whose keys have nothing yet, if there are any."""
    with _one_at_a_time:
        looked_up = {name: _things.get(key, _NOTHING) for name, key in keys.items()}
    missing = [name for name, thing in looked_up.items() if thing is _NOTHING]
    if missing:
        made = make(missing)
        looked_up.update(made)
        with _one_at_a_time:
            _things.update((keys[name], thing) for name, thing in made.items())
    return looked_up


def forget() -> None:
    """Let everything go."""
    with _one_at_a_time:
        _things.clear()


def content_of(*arrays: Any) -> Hashable:
    """Arrays (None for none) as a key: the same shapes, types and bytes."""
    told = (None if each is None else np.ascontiguousarray(each) for each in arrays)
    return tuple(each if each is None else (each.shape, each.dtype.str, each.tobytes()) for each in told)
