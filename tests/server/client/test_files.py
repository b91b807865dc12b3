"""Files of counts: a folder goes on where it broke off, a changed file goes again, refused rows are told and kept."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from farms.models import Farm
from monitoring.models import Reading
from server.client.book import Book
from server.client.files import files_noted, refused_rows
from tests.architecture.source import ROOT
from tests.cast import as_factory
from tests.server.client.commands import NOWHERE, json_answer, run, service

COMMITS = pytest.mark.django_db(transaction=True, databases="__all__")
FARM = "0197d0c2-5c00-7000-8000-000000000001"
HEAD = "station,hung on,taken on,count\n"
GOOD = HEAD + "Card 1,2026-05-18,2026-05-25,31\nCard 1,2026-05-25,2026-06-01,42\n"


def readings(farm: Farm) -> int:
    with as_factory():
        return Reading.objects.filter(farm=farm).count()


@COMMITS
def test_a_file_is_looked_at_stored_once_and_read_back(door: str, northfield: Farm, tmp_path: Path):
    file = tmp_path / "season.csv"
    file.write_text(GOOD)
    looked = run("send", file, "--dry-run")
    assert (looked.exit_code, "2 readings would be stored in 2 rounds" in looked.stdout) == (0, True), looked.output
    assert readings(northfield) == 0
    first, again, anew = run("send", file), run("send", file), run("send", file, "--again")
    assert "2 readings stored in 2 rounds; 0 were known before." in first.stdout
    assert (again.exit_code, again.stdout) == (0, first.stdout)  # remembered, not asked for
    assert "0 readings stored in 0 rounds; 2 were known before." in anew.stdout
    assert readings(northfield) == 2
    whose = run("whose")
    assert "Client (program)" in whose.stdout and f"Northfield  {northfield.id}" in whose.stdout
    assert run("results").stdout == ""


@COMMITS
def test_a_folder_is_sent_and_only_the_changed_file_again(
    door: str, northfield: Farm, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    folder = tmp_path / "files"
    folder.mkdir()
    for number in (1, 2, 3):
        (folder / f"{number}.csv").write_text(f"{HEAD}Card {number},2026-05-25,2026-06-01,{number}\n")
    (folder / "notes.txt").write_text("not a count")
    assert run("send", folder).exit_code == 0
    (folder / "2.csv").write_text(f"{HEAD}Card 2,2026-05-25,2026-06-01,2\nCard 4,2026-05-25,2026-06-01,4\n")
    sent = run("send", folder)
    assert sent.stdout.splitlines()[1] == "2.csv: 1 reading stored in 0 rounds; 1 was known before."
    assert readings(northfield) == 4
    # What is done asks for nothing.
    monkeypatch.setenv("FLYROUND_SITE", door)
    with Book(Path(os.environ["FLYROUND_HOME"])) as book:
        assert [each.state for each in files_noted(book)] == ["done"] * 4


@COMMITS
def test_a_file_that_is_no_table_is_refused_kept_and_told_again(door: str, northfield: Farm, tmp_path: Path):
    file = tmp_path / "season.csv"
    file.write_text("nothing,known\n1,2\n")
    told = [run("send", file), run("send", file)]
    assert [each.exit_code for each in told] == [1, 1]
    assert told[0].stderr == told[1].stderr and told[0].stderr.startswith("season.csv: ")
    listed = run("waiting")
    assert (listed.exit_code, "refused" in listed.stdout) == (1, True)


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda folder: folder / "empty", "holds no file whose name ends with .csv"),
        (lambda folder: folder / "large.csv", "more than 5 MB"),
    ],
)
def test_what_can_not_be_sent_is_told_at_once(tmp_path: Path, make: Any, sentence: str):
    (tmp_path / "empty").mkdir()
    (tmp_path / "large.csv").write_bytes(b"x" * (5 * 1024 * 1024 + 1))
    told = run("send", make(tmp_path), "--token", "fly_key", "--site", NOWHERE, "--farm", FARM)
    assert (told.exit_code, sentence in told.stderr) == (2, True), told.output


class Imports:
    """Imports as the contract says, of a service whose worker takes its time."""

    def __init__(self) -> None:
        self.keys: list[str] = []
        self.asked = 0
        self.rows = 6000
        self.fails = 0

    def __call__(self, method: str, path: str, headers: dict[str, str], body: bytes) -> Any:
        if method == "POST" and headers.get("Prefer") == "respond-async":
            self.keys.append(headers["Idempotency-Key"])
            return json_answer(self.resource("waiting", 0), 202, **{"Preference-Applied": "respond-async"})
        if method == "POST":
            self.keys.append(headers["Idempotency-Key"])
            bad = {"column": "count", "value": "-3", "code": "negative", "reason": "A count can't be less than 0."}
            results = [
                {"row": 2, "id": FARM, "outcome": "stored", "errors": []},
                {"row": 3, "id": None, "outcome": "refused", "errors": [bad]},
            ]
            return json_answer({"stored": 1, "known": 0, "refused": 1, "rounds": 1, "results": results})
        if "/results" in path:
            more = "cursor" not in path
            row = {"row": 2 + (not more), "id": FARM, "outcome": "known", "errors": []}
            return json_answer({"results": [row], "next": f"http://x.test{path}&cursor=1" if more else None})
        self.asked += 1
        if self.fails and self.asked % 3 == 0:
            self.fails -= 1
            return json_answer(self.resource("failed", 10) | {"problem": {"detail": "Oh.", "errors": []}})
        done = self.asked % 6 == 0
        return json_answer(self.resource("done" if done else "running", 6000 if done else 1000), **{"Retry-After": "0"})

    def resource(self, state: str, done: int) -> dict[str, Any]:
        figures = {"stored": 5999, "known": 1, "refused": 0, "rounds": 8, "problem": None}
        return {"id": FARM, "state": state, "rows": self.rows, "rows_done": done, **figures}


@pytest.fixture
def imports() -> Imports:
    return Imports()


@pytest.fixture
def site(imports: Imports, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    with service(imports) as url:
        monkeypatch.setenv("FLYROUND_SITE", url)
        monkeypatch.setenv("FLYROUND_TOKEN", "fly_key")
        yield url


def test_a_refused_row_is_told_and_remembered_with_the_good_ones_stored(
    site: str, imports: Imports, tmp_path: Path, home: Path
):
    file = tmp_path / "season.csv"
    file.write_text(GOOD)
    told, again = run("send", file, "--farm", FARM), run("send", file, "--farm", FARM)
    assert (told.exit_code, again.exit_code, len(imports.keys)) == (1, 1, 1)
    assert "1 reading stored in 1 round; 0 were known before, 1 row was refused." in told.stdout
    assert told.stderr == again.stderr == "row 3, count '-3': A count can't be less than 0.\n"
    with Book(home) as book:
        assert [row for row, _ in refused_rows(book, 1)] == [3]
    assert run("waiting").exit_code == 1
    assert run("waiting", "--forget-file", 1).exit_code == 0


def test_a_large_file_is_followed_to_its_end(site: str, imports: Imports, tmp_path: Path):
    file = tmp_path / "large.csv"
    file.write_text(HEAD + "x" * 300_000)
    told = run("send", file, "--farm", FARM)
    assert (told.exit_code, len(imports.keys), imports.asked) == (0, 1, 6), told.output
    assert "5999 readings stored in 8 rounds; 1 was known before." in told.stdout


def test_a_killed_client_follows_the_same_import_on(site: str, imports: Imports, tmp_path: Path):
    file = tmp_path / "large.csv"
    file.write_text(HEAD + "x" * 300_000)
    command = [sys.executable, "-m", "server.client", "send", str(file), "--farm", FARM]
    process = subprocess.Popen(command, cwd=ROOT, env=os.environ | {"FLYROUND_PACE": "1"}, stdout=subprocess.DEVNULL)
    while imports.asked < 2:
        time.sleep(0.01)
    process.send_signal(signal.SIGKILL)
    process.communicate()
    assert run("waiting").exit_code == 3
    told = run("send", "--waiting", "--farm", FARM)
    assert (told.exit_code, len(imports.keys)) == (0, 1), told.output


def test_an_import_that_failed_at_the_service_is_handed_in_anew(site: str, imports: Imports, tmp_path: Path):
    file = tmp_path / "large.csv"
    file.write_text(HEAD + "x" * 300_000)
    imports.fails = 1
    failed = run("send", file, "--farm", FARM)
    assert (failed.exit_code, "may be sent again: Oh." in failed.stderr) == (3, True), failed.output
    assert (run("send", file, "--farm", FARM).exit_code, len(set(imports.keys))) == (0, 2)


def test_files_wait_where_the_service_is_away_and_are_listed(tmp_path: Path):
    for number in (1, 2):
        (tmp_path / f"{number}.csv").write_text(GOOD + str(number))
    told = run("send", tmp_path, "--token", "fly_key", "--site", NOWHERE, "--farm", FARM)
    assert (told.exit_code, "2 of 2 files wait: run it again." in told.stderr) == (3, True), told.output
    listed = run("waiting")
    assert (listed.exit_code, listed.stdout.count(" waits ")) == (3, 2)


def test_a_token_that_is_refused_says_nothing_about_the_file(tmp_path: Path):
    file = tmp_path / "season.csv"
    file.write_text(GOOD)
    with service(lambda *_: json_answer({"detail": "This token isn't known."}, 401)) as url:
        told = run("send", file, "--token", "fly_key", "--site", url, "--farm", FARM)
    assert (told.exit_code, "This token isn't known." in told.stderr) == (1, True)
    assert run("waiting").exit_code == 3


def test_what_is_said_of_a_file_is_json_no_more(home: Path):
    """The book is the client's own; nothing in it is the token."""
    with Book(home) as book:
        tables = book.db.execute("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL").fetchall()
    assert "token" not in json.dumps([tuple(each) for each in tables])
