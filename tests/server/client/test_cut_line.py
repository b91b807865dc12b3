"""Nothing lost and nothing twice: the command against the running service, over a line that breaks all the time.

The client's process is killed at random moments as well, and started again; at the end the database counts exactly.
"""

import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from farms.ids import uuid7
from farms.ledger import verify_links
from farms.models import Farm, LedgerEntry
from monitoring.models import Reading, Round, Station
from tests.architecture.source import ROOT
from tests.cast import SEASON_OPENS, as_factory, make_facility, make_stations
from tests.server.client.cut_line import KINDS, CutLine

COMMITS = pytest.mark.django_db(transaction=True, databases="__all__")
SEED = 20260601
WEEKS = 8
PART = 50  # rounds a command
MOST_STARTS = 200


@dataclass
class Program:
    """The command, started again and again until it says that all is stored."""

    site: str
    token: str
    home: Path
    line: CutLine
    chance: random.Random
    killed: int = 0

    def until_stored(self, *words: str, kills: int) -> None:
        for _ in range(MOST_STARTS):
            process = self.start(words)
            if kills and self.kill_soon(process):
                kills -= 1
                continue
            _, said = process.communicate(timeout=120)
            if process.returncode == 0:
                return
            assert process.returncode == 3, said
        pytest.fail(f"not through after {MOST_STARTS} starts")

    def start(self, words: tuple[str, ...]) -> subprocess.Popen[str]:
        own = {"FLYROUND_HOME": str(self.home), "FLYROUND_SITE": self.site, "FLYROUND_TOKEN": self.token}
        return subprocess.Popen(
            [sys.executable, "-m", "server.client", *words],
            cwd=ROOT, env=os.environ | own | {"FLYROUND_PACE": "0.01"},
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip

    def kill_soon(self, process: subprocess.Popen[str]) -> bool:
        """Kill it after some exchanges more, wherever it is then; False where it ended before."""
        goal = self.line.exchanges + self.chance.randrange(1, 25)
        while self.line.exchanges < goal:
            if process.poll() is not None:
                process.communicate()
                return False
            time.sleep(0.001)
        time.sleep(self.chance.random() * 0.05)
        process.send_signal(signal.SIGKILL)
        process.communicate()
        self.killed += 1
        return True


def many_cards(farm: Farm, number: int) -> list[Station]:
    return make_stations(make_facility(farm, "Heifer barn", "heifer_barn", 4), "card", range(101, 101 + number))


@pytest.fixture
def many_traps(northfield: Farm) -> list[Station]:
    return make_stations(make_facility(northfield, "Feed area", "feed_area", 5), "trap", range(101, 121))


@pytest.fixture
def line(live_server: Any) -> Iterator[CutLine]:
    with CutLine(live_server.url, SEED) as line:
        yield line


def days_of(week: int) -> tuple[date, date]:
    return SEASON_OPENS + timedelta(days=7 * week), SEASON_OPENS + timedelta(days=7 * week + 7)


def write_rounds(folder: Path, cards: list[Station]) -> dict[tuple[str, date], int]:
    """A round of two cards a file; some bring all ids, some only the round's, some none. What has to be stored."""
    folder.mkdir()
    expected = {}
    for week in range(WEEKS):
        hung_on, walked_on = days_of(week)
        for block in range(len(cards) // 2):
            readings: list[dict[str, Any]] = []
            for card in cards[2 * block : 2 * block + 2]:
                count = 10 * week + card.number % 7
                own = {"id": str(uuid7())} if block % 2 else {}
                readings.append(own | {"station_id": str(card.id), "hung_on": str(hung_on), "count": count})
                expected[str(card.id), walked_on] = count
            own = {"id": str(uuid7())} if block else {}
            body = own | {"walked_on": str(walked_on), "readings": readings}
            (folder / f"{week}-{block:02}.json").write_text(json.dumps(body))
    return expected


def write_files(folder: Path, traps: list[Station]) -> dict[tuple[str, date], int]:
    """A CSV file a week."""
    folder.mkdir()
    expected = {}
    for week in range(WEEKS):
        hung_on, taken_on = days_of(week)
        rows = ["station,hung on,taken on,count"]
        for trap in traps:
            # Three digits, so that a file cut off within a number would say something else.
            expected[str(trap.id), taken_on] = count = 111 + 100 * week + trap.number % 10
            rows.append(f"{trap.label},{hung_on},{taken_on},{count}")
        (folder / f"week-{week}.csv").write_text("\n".join(rows))
    return expected


def stored(farm: Farm, stations: list[Station]) -> list[tuple[str, date, int]]:
    with as_factory():
        found = Reading.objects.filter(farm=farm, station_id__in=[each.id for each in stations])
        return sorted((str(each.station_id), each.taken_on, each.count) for each in found)


def as_listed(expected: dict[tuple[str, date], int]) -> list[tuple[str, date, int]]:
    return sorted((station, day, count) for (station, day), count in expected.items())


def run_all(
    line: CutLine, farm: Farm, token: str, folder: Path, places: tuple[list[Station], list[Station]],
    record_property: Any, *, kills: int,
) -> None:  # fmt: skip
    """Everything through the broken line: the rounds in parts, then the files, then the files once more."""
    cards, traps = places
    in_rounds = write_rounds(folder / "rounds", cards)
    in_files = write_files(folder / "files", traps)
    program = Program(line.url, token, folder / "client", line, random.Random(SEED))  # noqa: S311 - no secret
    files = sorted(map(str, (folder / "rounds").iterdir()))
    for first in range(0, len(files), PART):
        program.until_stored("round", *files[first : first + PART], kills=kills)
    program.until_stored("send", str(folder / "files"), kills=kills)
    # And all of it once more, as somebody would who isn't sure.
    program.until_stored("send", str(folder / "files"), "--again", kills=0)
    assert program.killed >= kills
    told = {"exchanges": line.exchanges, "cuts": sum(line.cuts.values()), "deaths": program.killed}
    told |= {"rounds": len(files), "files": WEEKS}
    for name, number in told.items():
        record_property(f"asked by the client over a bad line: {name}", number)
    assert set(line.cuts) == set(KINDS) and sum(line.cuts.values()) > len(files) // 10
    assert stored(farm, cards) == as_listed(in_rounds)
    assert stored(farm, traps) == as_listed(in_files)
    with as_factory():
        rounds = Round.objects.filter(farm=farm)
        assert rounds.filter(source="program").count() == len(files)
        assert rounds.filter(source="file").count() == WEEKS
        # One entry in the farm's chain for each: what was sent twice left nothing there either.
        assert LedgerEntry.objects.filter(farm=farm, kind="round").count() == len(files)
        assert verify_links(farm.id) == []


@COMMITS
def test_nothing_is_lost_and_nothing_stored_twice(
    line: CutLine, northfield: Farm, token: str, tmp_path: Path, many_traps: list[Station],
    record_property: Any,
):  # fmt: skip
    run_all(line, northfield, token, tmp_path, (many_cards(northfield, 26), many_traps), record_property, kills=1)


@COMMITS
@pytest.mark.full
def test_nor_in_a_long_season_with_many_deaths(
    line: CutLine, northfield: Farm, token: str, tmp_path: Path, many_traps: list[Station],
    record_property: Any,
):  # fmt: skip
    run_all(line, northfield, token, tmp_path, (many_cards(northfield, 200), many_traps), record_property, kills=3)
