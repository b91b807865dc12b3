"""Waiting for what other processes do. On a busy machine one alone needs half a minute to start."""

import time
from collections.abc import Callable
from typing import TypeVar

Answer = TypeVar("Answer")


def wait_until(done: Callable[[], Answer], what: str, *, seconds: float = 180) -> Answer:
    """The first answer of `done` that counts as true. Fails, with what was waited for, when the seconds are over."""
    deadline = time.monotonic() + seconds
    while not (answer := done()):
        assert time.monotonic() < deadline, f"Waited {seconds:.0f} s in vain until {what}."
        time.sleep(0.02)
    return answer
