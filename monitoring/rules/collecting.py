"""Putting off the collection of garbage while a large table is in memory."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def collected_later() -> Iterator[None]:
    """No search for cyclic garbage meanwhile; as a decorator too.

    A table makes none, and has so many objects that looking at them again and again took a third of the time. Where
    threads overlap, the search begins again with the first that is done.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
