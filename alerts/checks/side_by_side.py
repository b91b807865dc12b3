"""Tasks of one process side by side: while one waits for PostgreSQL or counts in NumPy, another uses the processor.

Threads, not processes: half of a check's work is PostgreSQL's own, the arrays' share lets other threads run, and a
worker of Celery may start no processes. What was drawn once (monitoring.analysis.rise_null) serves all of them.
"""

import gc
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from contextvars import copy_context
from typing import TypeVar

from django.db import connection, connections

Result = TypeVar("Result")
THREADS = 3  # two cores, and one task that waits


def side_by_side(tasks: Sequence[Callable[[], Result]]) -> list[Result]:
    """What the tasks return, in their order; each thread has a connection of its own, and the caller's context.

    After the first error no task is begun any more, and it is raised when those under way have ended. Within a
    transaction of the caller's, which other connections don't see, the tasks follow one another.
    """
    if len(tasks) < 2 or connection.in_atomic_block:
        return [task() for task in tasks]
    waiting, results = deque(enumerate(tasks)), dict[int, Result]()

    def work() -> None:
        try:
            while (one := _next(waiting)) is not None:
                place, task = one
                results[place] = task()
        except BaseException:
            waiting.clear()
            raise
        finally:
            connections.close_all()

    with ThreadPoolExecutor(min(THREADS, len(tasks)), "side by side") as threads:
        workers = [threads.submit(copy_context().run, work) for _ in range(min(THREADS, len(tasks)))]
    for each in workers:
        each.result()
    return [results[place] for place in range(len(tasks))]


def _next(waiting: deque[Result]) -> Result | None:
    try:
        return waiting.popleft()
    except IndexError:
        return None


@contextmanager
def no_search_for_cycles() -> Iterator[None]:
    """Let the rows of a check be. They are many and in no cycles, and looking for some took a fifth of the time."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()
