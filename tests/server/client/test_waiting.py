"""Rounds that can't be sent wait in order, go later, are sent once, and a refusal is kept and told."""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from farms.ids import uuid7
from farms.models import Farm
from monitoring.models import Reading, Round, Station
from server.client.book import Book
from server.client.waiting import in_line, put_in_line
from tests.architecture.source import ROOT
from tests.cast import as_factory
from tests.server.api.bodies import card_reading, round_body
from tests.server.client.commands import NOWHERE, json_answer, run, service

COMMITS = pytest.mark.django_db(transaction=True, databases="__all__")
FARM = "0197d0c2-5c00-7000-8000-000000000001"
DOCUMENT = {"paths": {}, "components": {}}


def write(path: Path, body: dict[str, Any]) -> Path:
    path.write_text(json.dumps(body))
    return path


def line(home: Path) -> list[Any]:
    with Book(home) as book:
        return in_line(book)


def counted(farm: Farm) -> tuple[int, int]:
    with as_factory():
        return Round.objects.filter(farm=farm).count(), Reading.objects.filter(farm=farm).count()


@COMMITS
def test_a_round_in_the_apis_form_is_stored_once(door: str, northfield: Farm, cards: list[Station], tmp_path: Path):
    file = write(tmp_path / "round.json", {"id": str(uuid7()), **round_body([card_reading(cards[0])])})
    first, again = run("round", file), run("round", file)
    assert (first.exit_code, first.stdout, first.stderr) == (0, "1 round is stored.\n", ""), first.output
    assert (again.exit_code, counted(northfield)) == (0, (1, 1))


@COMMITS
def test_ids_that_a_file_leaves_away_are_made_and_kept(
    door: str, northfield: Farm, cards: list[Station], tmp_path: Path
):
    """Half today and the rest tomorrow, without an id in either: one round, each reading once."""
    readings = [{name: value for name, value in card_reading(card).items() if name != "id"} for card in cards]
    half = write(tmp_path / "half.json", round_body(readings[:2]))
    whole = write(tmp_path / "whole.json", round_body(readings))
    assert [run("round", file).exit_code for file in (half, whole, half)] == [0, 0, 0]
    assert counted(northfield) == (1, 5)
    with as_factory():
        assert {each.id.version for each in Round.objects.all()} == {7}
    other = write(tmp_path / "other.json", round_body([{**readings[0], "count": 7}]))
    refused = run("round", other)
    assert (refused.exit_code, "says something else" in refused.stderr, counted(northfield)) == (1, True, (1, 5))


@COMMITS
def test_a_round_of_a_few_words(door: str, northfield: Farm):
    words = ("round", "--on", "2026-06-01", "--hung-on", "2026-05-25", "--count", "Card 1=41", "--count", "card 2=lost")
    more = ("--count", "Trap 1=300+", "--count", "Leg count 1=3,0,5,2", "--hang", "Card 3")
    told = [run(*words, *more), run(*words, *more)]
    assert [each.exit_code for each in told] == [0, 0], told[0].output
    with as_factory():
        found = {(each.method, each.count, each.reason, each.at_least) for each in Reading.objects.all()}
    assert found == {
        ("card", 41, "", False),
        ("card", None, "lost", False),
        ("trap", 300, "", True),
        ("leg", 10, "", False),
    }
    wrong = run("round", "--on", "2026-06-01", "--count", "Card 99=1")
    assert (wrong.exit_code, "no 'Card 99'. Its stations are: Card 1, Card 2" in wrong.stderr) == (2, True)
    assert run("round", "--on", "2026-06-01", "--count", "Card 1=many").exit_code == 2


@COMMITS
def test_what_waited_goes_in_order_with_the_next_command(
    door: str, northfield: Farm, cards: list[Station], tmp_path: Path, home: Path, monkeypatch: pytest.MonkeyPatch
):
    """Signed in once, then three days without a signal."""
    assert run("sign-in", "--site", door).exit_code == 0
    monkeypatch.delenv("FLYROUND_SITE")
    (home / "sign-in.json").write_text((home / "sign-in.json").read_text().replace(door, NOWHERE))
    farm = ("--farm", northfield.id)
    for card in cards[:3]:
        body = {"id": str(uuid7()), **round_body([card_reading(card)])}
        off = run("round", write(tmp_path / f"{card.number}.json", body), *farm)
        assert off.exit_code == 3 and "with the next command, or with `send --waiting`" in off.stderr
    listed = run("waiting")
    assert (listed.exit_code, listed.stdout.count("round of 2026-06-01"), NOWHERE in listed.stdout) == (3, 3, True)
    rounds = [each.round_id for each in line(home)]
    with sqlite3.connect(home / "book.sqlite3") as db:
        db.execute("UPDATE round SET site = ?", (door,))
    db.close()
    monkeypatch.setenv("FLYROUND_SITE", door)
    sent = run("send", "--waiting")
    assert (sent.exit_code, sent.stdout) == (0, "3 rounds are stored.\n"), sent.output
    assert (line(home), run("waiting").exit_code) == ([], 0)
    with as_factory():
        assert [str(each) for each in Round.objects.order_by("entry").values_list("id", flat=True)] == rounds
        assert all(each.submitted_at for each in Round.objects.all())


@COMMITS
def test_a_refusal_is_kept_with_its_sentence_and_the_others_go_on(
    door: str, northfield: Farm, cards: list[Station], tmp_path: Path, home: Path
):
    bad = {"id": str(uuid7()), **round_body([card_reading(cards[0], count=-1)])}
    good = {"id": str(uuid7()), **round_body([card_reading(cards[1])])}
    files = [write(tmp_path / f"{name}.json", body) for name, body in (("bad", bad), ("good", good))]
    told = run("round", *files)
    assert (told.exit_code, told.stdout, counted(northfield)) == (1, "1 round is stored.\n", (1, 1))
    assert "row 0, count: A count can't be less than 0." in told.stderr and "It is kept" in told.stderr
    listed = run("waiting")
    assert (listed.exit_code, "refused" in listed.stdout, "can't be right" in listed.stdout) == (1, True, True)
    (kept,) = line(home)
    assert (kept.refused, kept.body["readings"][0]["count"], kept.errors[0]["pointer"]) == (
        True,
        -1,
        "/readings/0/count",
    )
    assert run("send", "--waiting").exit_code == 0  # what was refused isn't sent by itself
    assert run("waiting", "--retry", kept.number).exit_code == 3
    assert run("send", "--waiting").exit_code == 1
    assert (run("waiting", "--forget", kept.number).exit_code, line(home)) == (0, [])
    assert run("waiting", "--forget", kept.number).exit_code == 2


def fill(home: Path, site: str, rounds: int) -> None:
    with Book(home) as book:
        put_in_line(book, site, FARM, [{"id": str(uuid7()), "walked_on": "2026-06-01"} for _ in range(rounds)])


def started(site: str) -> subprocess.Popen[bytes]:
    own = {"FLYROUND_SITE": site, "FLYROUND_TOKEN": "fly_key"}
    command = [sys.executable, "-m", "server.client", "send", "--waiting", "--farm", FARM]
    return subprocess.Popen(command, cwd=ROOT, env=os.environ | own, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)


class Counting:
    """Stores rounds, slowly, and counts how often each came."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self.came: list[str] = []
        self.lock = threading.Lock()

    def __call__(self, method: str, path: str, headers: dict[str, str], body: bytes) -> Any:
        if method == "GET":
            return json_answer(DOCUMENT)
        with self.lock:
            self.came.append(path.rpartition("/")[2])
        time.sleep(self.seconds)
        return json_answer({"id": path.rpartition("/")[2]})


def test_two_processes_share_the_line_and_send_nothing_twice(home: Path):
    counting = Counting(0.02)
    with service(counting) as site:
        fill(home, site, 60)
        order = [each.round_id for each in line(home)]
        processes = [started(site) for _ in range(3)]
        ends = [process.communicate() and process.returncode for process in processes]
    assert (ends, counting.came, line(home)) == ([0, 0, 0], order, [])


def test_a_killed_process_loses_nothing_and_holds_nobody_up(home: Path):
    counting = Counting(0.05)
    with service(counting) as site:
        fill(home, site, 12)
        order = [each.round_id for each in line(home)]
        for _ in range(2):
            process, before = started(site), len(counting.came)
            while len(counting.came) < before + 3:
                time.sleep(0.01)
            process.send_signal(signal.SIGKILL)
            process.communicate()
        last = started(site)
        assert (last.communicate() and last.returncode, line(home)) == (0, [])
    # In order; only one that was on its way when its sender was killed came again.
    assert list(dict.fromkeys(counting.came)) == order and len(counting.came) <= 12 + 2


def test_a_service_that_asks_to_be_left_alone_is_left_alone(
    home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """429 with fifteen minutes: the round waits, and not even `send --waiting` asks before."""
    asked = []

    def answer(method: str, path: str, headers: dict[str, str], body: bytes) -> Any:
        asked.append(method)
        busy = json_answer({"detail": "Too many requests came."}, 429, **{"Retry-After": "900"})
        return busy if method == "PUT" else json_answer(DOCUMENT)

    file = write(tmp_path / "round.json", {"walked_on": "2026-06-01"})
    with service(answer) as site:
        words = ("--site", site, "--token", "fly_key", "--farm", FARM)
        first = run("round", file, *words)
        assert (first.exit_code, "Too many requests came." in first.stderr) == (3, True)
        again = run("send", "--waiting", *words)
    assert (again.exit_code, asked) == (3, ["GET", "PUT"])
    (waiting,) = line(home)
    assert 880 < waiting.not_before - time.time() <= 900 and waiting.next_at >= waiting.not_before


def test_one_round_that_the_service_breaks_on_does_not_stop_the_others(home: Path, tmp_path: Path):
    def answer(method: str, path: str, headers: dict[str, str], body: bytes) -> Any:
        if method == "GET":
            return json_answer(DOCUMENT)
        bad = json.loads(body)["walked_on"] == "2026-06-01"
        return json_answer({"detail": "Oh."}, 500) if bad else json_answer({"id": path.rpartition("/")[2]})

    files = [write(tmp_path / f"{day}.json", {"walked_on": f"2026-06-0{day}"}) for day in (1, 2, 3)]
    with service(answer) as site:
        told = run("round", *files, "--site", site, "--token", "fly_key", "--farm", FARM)
    assert (told.exit_code, [each.walked_on for each in line(home)]) == (3, ["2026-06-01"]), told.output


def test_sent_at_is_said_where_the_service_knows_it(tmp_path: Path):
    """The round's optional field for the sender's clock; looked up once in the service's own document."""
    operation = {
        "put": {"requestBody": {"content": {"application/json": {"schema": {"$ref": "#/components/schemas/R"}}}}}
    }
    document: dict[str, Any] = {
        "paths": {"/api/v1/farms/{farm_id}/rounds/{round_id}": operation},
        "components": {"schemas": {"R": {"properties": {"walked_on": {}, "sent_at": {}}}}},
    }
    asked: list[tuple[str, bytes]] = []

    def answer(method: str, path: str, headers: dict[str, str], body: bytes) -> Any:
        asked.append((method, body))
        return json_answer(document if method == "GET" else {"id": path.rpartition("/")[2]})

    file = write(tmp_path / "round.json", {"walked_on": "2026-06-01"})
    with service(answer) as site:
        for _ in range(2):
            assert run("round", file, "--site", site, "--token", "fly_key", "--farm", FARM).exit_code == 0
    assert [method for method, _ in asked] == ["GET", "PUT", "PUT"]
    first, second = (json.loads(body) for method, body in asked if method == "PUT")
    assert first["sent_at"] < second["sent_at"] and first["submitted_at"] <= first["sent_at"]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("{", "isn't JSON"),
        ("[]", "holds no round"),
        ("{}", "the round has no walked_on"),
        ('{"walked_on": "2026-06-01", "readings": [{}]}', "readings/0 has no station_id"),
        ('{"walked_on": "2026-06-01", "hung": [3]}', "hung/0 has no station_id"),
        ('{"walked_on": "2026-06-01", "readings": 3}', "readings has no station_id"),
    ],
)
def test_a_file_that_holds_no_round_is_told_before_anything_waits(tmp_path: Path, home: Path, text: str, sentence: str):
    good = write(tmp_path / "good.json", {"walked_on": "2026-06-01"})
    bad = tmp_path / "bad.json"
    bad.write_text(text)
    told = run("round", good, bad, "--token", "fly_key", "--site", NOWHERE, "--farm", FARM)
    assert (told.exit_code, sentence in told.stderr, line(home)) == (2, True, []), told.output


def test_nothing_is_said_to_wait_where_the_farm_is_not_known(tmp_path: Path, home: Path):
    file = write(tmp_path / "round.json", {"walked_on": "2026-06-01"})
    told = run("round", file, "--token", "fly_key", "--site", NOWHERE)
    assert (told.exit_code, "Nothing was kept" in told.stderr, line(home)) == (2, True, [])


def test_a_spoiled_book_is_told_and_left_as_it_is(home: Path):
    home.mkdir()
    (home / "book.sqlite3").write_bytes(b"not a database, for sure" * 100)
    told = run("waiting")
    assert (told.exit_code, "can't be used" in told.stderr) == (2, True)
    assert (home / "book.sqlite3").read_bytes().startswith(b"not a database")
