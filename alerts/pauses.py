"""How long something waits before it is tried again."""

from datetime import timedelta

# 2 to this power, and no longest pause of ours is so many times its first one.
MOST_DOUBLINGS = 12


def pause_after(tries: int, first: timedelta, longest: timedelta) -> timedelta:
    """The first pause, then twice as long after each try, up to the longest."""
    doublings: int = 2 ** min(tries - 1, MOST_DOUBLINGS)
    return min(first * doublings, longest)
