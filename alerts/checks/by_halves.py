"""Doing something for many farms together, of which one may be at fault: it is found, and the others have theirs."""

from collections.abc import Callable, Sequence
from typing import TypeVar

from django.db import InterfaceError, OperationalError, transaction

from alerts.checks.claims import RunLost

Item = TypeVar("Item")
Done = TypeVar("Done")


def by_halves(
    items: Sequence[Item],
    do: Callable[[Sequence[Item]], Done],
    give_up: Callable[[Item, Exception], Done],
    before: Callable[[], None] = lambda: None,
) -> list[Done]:
    """What `do` gives for all of them, in a transaction; where it fails, for the halves, until one stands alone.

    What is given for that one is `give_up`'s. `before` is called before each try, outside of its transaction. A failure
    of the database, or a run that is lost, is no item's fault and is raised.
    """
    before()
    try:
        with transaction.atomic():
            return [do(items)]
    except (OperationalError, InterfaceError, RunLost):
        raise
    except Exception as error:
        if not items:
            raise
        if len(items) == 1:
            return [give_up(items[0], error)]
    half = len(items) // 2
    return by_halves(items[:half], do, give_up, before) + by_halves(items[half:], do, give_up, before)
