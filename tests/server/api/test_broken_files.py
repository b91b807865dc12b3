"""Whatever is in a file, it is refused with a reason or stored as it says: never a crash, soon, in little memory.

Bombs made by hand, and good files broken at random: 300 in CI, 5,000 by `manage.py test --full`. What was stored is
compared with the file as Python's own csv module reads it.
"""

import csv
import io
import random
import re
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from farms.models import Farm
from monitoring.models import Reading
from tests.cast import as_factory
from tests.server.api.broken_files import BOMBS, BREAKS, GOOD
from tests.server.api.senders import Sender
from tests.yardstick import slowness

# Coverage is not counted here: its tracer takes twice as long as what it looks at.
pytestmark = [pytest.mark.django_db, pytest.mark.no_cover]
MOST_SECONDS, MOST_MEGABYTES = 2.0, 512
# What a process of the service holds before it gets a file (measured 150); that of the tests holds more.
EMPTY = 200
# What looks like a bomb and is only a file with much of nothing in it.
HARMLESS = {"cr only", "a row of commas", "blank lines before a row", "lines of spaces"}
worst: dict[str, tuple[float, str]] = dict.fromkeys(("seconds", "seconds row by row", "megabytes"), (0.0, ""))


def megabytes() -> float:
    """The most memory that this process held since it was told to forget the most before."""
    found = re.search(r"VmHWM:\s+(\d+) kB", Path("/proc/self/status").read_text())
    assert found is not None
    return int(found[1]) / 1024


def forget_the_most() -> float:
    """Begin anew to note the most memory held; what this process holds now, beyond what one of the service would."""
    Path("/proc/self/clear_refs").write_text("5")
    return megabytes() - EMPTY


def timed(sender: Sender, farm: Farm, content: bytes) -> tuple[Any, float]:
    """The answer to a file, all or nothing, and the seconds of processing that it took."""
    start = time.thread_time()
    answer = send(sender, farm, content)
    return answer, time.thread_time() - start


def deeper(frames: int, call: Callable[[], tuple[Any, float]]) -> tuple[Any, float]:
    """Call with so many more frames on the interpreter's stack."""
    return deeper(frames - 1, call) if frames else call()


def note(name: str, value: float, what: str) -> None:
    worst[name] = max(worst[name], (value, what))


def send(sender: Sender, farm: Farm, content: bytes, query: str = "?atomic=true") -> Any:
    return sender.generic("POST", f"/api/v1/farms/{farm.id}/imports{query}", content, "text/csv")


def judge(sender: Sender, farm: Farm, content: bytes, what: str) -> int:
    """Send a file, all or nothing; it ends well, soon and small. Returns the status. Nothing of it stays."""
    with transaction.atomic():
        beyond = forget_the_most()
        answer, took = timed(sender, farm, content)
        most_seconds = MOST_SECONDS if took < MOST_SECONDS else MOST_SECONDS * slowness()
        if took >= most_seconds and answer.status_code != 200:
            # How deep pytest calls is chance. Where the last frame just fits, CPython up to 3.13 fetches memory from
            # the machine and gives it back at every further call, and is three times as slow (python/cpython 142183).
            took = min(took, *(deeper(frames, partial(timed, sender, farm, content))[1] for frames in (25, 50)))
        note("seconds", took, what)
        most = megabytes() - beyond
        note("megabytes", most, what)
        assert took < most_seconds
        assert most < MOST_MEGABYTES
        assert answer.status_code in (200, 413, 422), answer.content[:300]
        # However long a cell is: the answer names its beginning. Of a file that was taken it tells every row.
        assert answer.status_code == 200 or len(answer.content) < 64 * 1024
        with as_factory():
            stored = {str(row.id): row for row in Reading.objects.filter(farm=farm).select_related("station")}
        if answer.status_code == 200:
            stands_in_the_file(answer.json(), stored, content)
        else:
            assert answer["Content-Type"] == "application/problem+json" and answer.json()["detail"].endswith(".")
            assert stored == {}
        transaction.set_rollback(True)
    return int(answer.status_code)


def stands_in_the_file(told: Any, stored: dict[str, Reading], content: bytes) -> None:
    """Each stored reading's station, days and count are in its row of the file; no row is without one."""
    text = content.decode("utf-8-sig")
    rows = [None, *csv.reader(io.StringIO(text, newline=""), delimiter=max(",;\t", key=text.count))]
    full = [number for number, row in enumerate(rows) if row and any(cell.strip() for cell in row)]
    assert [each["row"] for each in told["results"]] == full[1:]
    assert {each["id"] for each in told["results"]} == set(stored)
    for each in told["results"]:
        reading, line = stored[each["id"]], " ".join(rows[each["row"]] or [])
        assert each["outcome"] == "stored"
        assert str(reading.station.number) in line and str(reading.taken_on.year) in line
        if reading.how == "counted" and reading.count is not None and not reading.animals:
            assert str(reading.count) in line


@pytest.fixture
def sender(program: Sender, northfield: Farm, traps: Any, leg_station: Any) -> Sender:
    # Once before, so that what is loaded late counts for no file.
    with transaction.atomic():
        send(program, northfield, GOOD)
        transaction.set_rollback(True)
    assert judge(program, northfield, GOOD, "the good file") == 200
    return program


@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_does_not_go_off(sender: Sender, northfield: Farm, name: str):
    content = BOMBS[name]()
    status = judge(sender, northfield, content, name)
    assert (status == 200) == (name in HARMLESS)


@pytest.mark.parametrize("name", [*sorted({"every rule broken", "rows of nonsense", "every date another", "formulas"})])
def test_each_row_of_a_bomb_is_named_where_that_is_asked_for(sender: Sender, northfield: Farm, name: str):
    """As it comes by default: nothing is refused as a whole, and every row says why it was left out."""
    content = BOMBS[name]()
    beyond = forget_the_most()
    start = time.process_time()
    answer = send(sender, northfield, content, "")
    note("seconds row by row", time.process_time() - start, name)
    most = megabytes() - beyond
    note("megabytes", most, f"{name}, row by row")
    assert most < MOST_MEGABYTES
    # Not taken apart here: that would take more memory than making it did.
    assert answer.status_code == 200
    assert b'"refused": 50000' in answer.content[:200]
    assert answer.content.count(b'"outcome":"refused"') == 50_000


def broken(content: bytes, names: list[str], seed: int) -> bytes:
    chance = random.Random(seed)  # noqa: S311 - made-up files, no secrets
    for name in names:
        content = BREAKS[name](content, chance)
    return content


FILES = st.builds(
    broken, st.just(GOOD), st.lists(st.sampled_from(sorted(BREAKS)), min_size=1, max_size=4), st.integers(0, 2**32)
)
ANYTHING = st.one_of(FILES, FILES, FILES, st.binary(max_size=300), st.text(max_size=200).map(str.encode))
QUIET = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large]


@given(ANYTHING)
@settings(max_examples=300, suppress_health_check=QUIET, database=None)
def test_a_file_broken_at_random(sender: Sender, northfield: Farm, content: bytes):
    judge(sender, northfield, content, "at random")


@pytest.mark.full
@given(ANYTHING)
@settings(max_examples=5_000, suppress_health_check=QUIET, database=None)
def test_five_thousand_files_broken_at_random(sender: Sender, northfield: Farm, content: bytes):
    judge(sender, northfield, content, "at random")


def test_what_it_took_at_worst(capsys: Any):
    """After all the others of this file."""
    told = [f"{value:.2f} {name} ({what})" for name, (value, what) in worst.items()]
    with capsys.disabled():
        print(f"\nBroken files, at worst: {', '.join(told)}")
    assert worst["megabytes"][0] < MOST_MEGABYTES
