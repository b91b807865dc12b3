"""The same against the running service's own imports and exports."""

import csv
import io
import threading
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connections

from farms.models import Farm
from monitoring.models import Reading, Station
from server import imports, tasks
from server.client.season import FORMATS
from tests.cast import SEASON_OPENS, as_factory
from tests.server.client.commands import run
from tests.server.client.cut_line import CutLine
from tests.server.client.test_files import GOOD, HEAD

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")


@pytest.fixture
def worker(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Whoever is rung for does the import, in a thread instead of a process."""
    threads: list[threading.Thread] = []

    def do(waiting: Any) -> None:
        try:
            ids = (waiting.farm_id, waiting.id, waiting.user_id, waiting.token_id)
            tasks.do_import(*(str(each) if each else None for each in ids))
        finally:
            connections.close_all()

    def ring(task: str, waiting: Any) -> None:
        threads.append(threading.Thread(target=do, args=(waiting,)))
        threads[-1].start()

    monkeypatch.setattr(imports, "ring", ring)
    yield
    for thread in threads:
        thread.join()


def stored(farm: Farm) -> int:
    with as_factory():
        return Reading.objects.filter(farm=farm).count()


def test_good_rows_are_stored_and_bad_ones_told(door: str, northfield: Farm, tmp_path: Path):
    file = tmp_path / "season.csv"
    file.write_text(GOOD + "Card 9,2026-05-18,2026-05-25,-3\n")
    looked = run("send", file, "--dry-run")
    assert (looked.exit_code, "row 4, count '-3'" in looked.stderr) == (1, True), looked.output
    whole = run("send", file, "--atomic")
    assert (whole.exit_code, "row 4, count: A count can't be less than 0." in whole.stderr) == (1, True), whole.output
    assert stored(northfield) == 0
    told = run("send", file)
    assert (told.exit_code, stored(northfield)) == (1, 2)
    assert "2 readings stored in 2 rounds; 0 were known before, 1 row was refused." in told.stdout
    assert "row 4, count '-3': A count can't be less than 0." in told.stderr


def test_a_file_that_is_imported_later_goes_over_a_broken_line(
    door: str, northfield: Farm, tmp_path: Path, cards: list[Station], worker: None, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr("server.client.flyround.LARGE", 100)
    weeks = [
        (SEASON_OPENS + timedelta(days=7 * week), SEASON_OPENS + timedelta(days=7 * week + 7)) for week in range(8)
    ]
    rows = [f"{card.label},{hung},{taken},{card.number}" for hung, taken in weeks for card in cards]
    file = tmp_path / "large.csv"
    file.write_text(HEAD + "\n".join([*rows, f"Card 9,{weeks[0][0]},{weeks[0][1]},1"]))
    with CutLine(door, 3) as line:
        for _ in range(40):
            told = run("send", file, "--site", line.url)
            if told.exit_code != 3:
                break
        assert sum(line.cuts.values()) > 0
    assert (told.exit_code, stored(northfield)) == (1, len(rows)), told.output
    assert told.stderr.splitlines()[-1].startswith("row 42, station ")


@pytest.mark.parametrize("table_format", FORMATS)
def test_a_season_comes_home(door: str, northfield: Farm, tmp_path: Path, table_format: str):
    file = tmp_path / "season.csv"
    file.write_text(GOOD)
    assert run("send", file).exit_code == 0
    with CutLine(door, 5) as line:
        for _ in range(40):
            told = run("export", tmp_path / "home", "--format", table_format, "--site", line.url)
            if told.exit_code != 3:
                break
    assert told.exit_code == 0, told.output
    names = {each.name for each in (tmp_path / "home").iterdir()}
    assert {f"readings.{table_format}", "readings.schema.json", "datapackage.json"} <= names
    assert not any(name.endswith(".part") for name in names)
    if table_format == "csv":
        found = list(csv.DictReader(io.StringIO((tmp_path / "home/readings.csv").read_text(encoding="utf-8-sig"))))
        assert [row["count"] for row in found] == ["31", "42"]


def test_half_a_season_sent_twice_from_two_names_is_stored_once(door: str, northfield: Farm, tmp_path: Path):
    for name, text in (("a", GOOD), ("b", GOOD), ("c", HEAD + "Card 2,2026-05-25,2026-06-01,7\n")):
        (tmp_path / f"{name}.csv").write_text(text)
    told = run("send", tmp_path)
    assert (told.exit_code, stored(northfield)) == (0, 3), told.output
