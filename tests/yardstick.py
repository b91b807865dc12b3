"""How fast this machine is beside the one on which bars of processing time were set.

One machine of one kind takes twice as long as another; a bar in seconds would test the machine. So it holds where
`work` takes `SECONDS`, and in proportion where that takes longer: a faster machine lowers no bar, since noise is not
proportional. A program that has become slower fails on either.
"""

import re
import statistics
import time

# Processing time of `work` where the bars were set, two tests at a time; from memory of how long all tests took there,
# against a machine on which they took twice as long and `work` 0.016 to 0.02.
SECONDS = 0.010
ROUNDS = 7
CELL = re.compile(r"(\d{1,9})(?:[.,]0)?")


def slowness() -> float:
    """How many times as long as there the same piece of work takes here and now; 1 at least."""
    return max(1.0, statistics.median(seconds() for _ in range(ROUNDS)) / SECONDS)


def seconds() -> float:
    start = time.thread_time()
    work()
    return time.thread_time() - start


def work() -> dict[str, int | None]:
    """What reading cells is made of: text, expressions, exceptions, dictionaries, functions."""
    found: dict[str, int | None] = {}
    for number in range(10_000):
        text = f"{number}.0" if number % 2 else f"x{number}"
        try:
            found[text.strip()] = whole(text)
        except ValueError:
            found[text] = None
    return found


def whole(text: str) -> int:
    match = CELL.fullmatch(text)
    if match is None:
        raise ValueError(text)
    return int(match[1])
