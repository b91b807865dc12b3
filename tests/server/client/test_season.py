"""A season taken home: whole files only, and what was broken off goes on where it was.

The service is one of answers in the exports' form; test_contract asks the real one.
"""

import json
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest

from tests.server.client.commands import json_answer, run, service
from tests.server.client.cut_line import CutLine

FARM = "0197d0c2-5c00-7000-8000-000000000001"
TABLES = {"readings": ["method", "since", "until"], "rounds": ["since", "until"], "stations": ["method"]}
FORMATS = {"csv": "", "ndjson": ""}
FILES = [f"{name}.{ending}" for name in TABLES for ending in ("csv", "schema.json")] + ["datapackage.json"]


class Exports:
    """A farm's exports, each of 200 kB, in lines."""

    def __init__(self) -> None:
        self.asked: Counter[str] = Counter()
        self.queries: dict[str, dict[str, list[str]]] = {}
        self.broken = ""
        self.unframed = False

    def content(self, file: str) -> bytes:
        return b"".join(b"%s,%d\n" % (file.encode(), number) for number in range(10_000))

    def __call__(self, method: str, path: str, headers: dict[str, str], body: bytes) -> Any:
        place = urlsplit(path)
        file = place.path.rpartition("/")[2]
        if file == "exports":
            rows = [{"name": name, "formats": FORMATS, "filters": filters} for name, filters in TABLES.items()]
            return json_answer({"results": rows})
        if file == "seasons":
            return json_answer({"results": [{"opens_on": "2026-04-06", "closes_on": None}]})
        self.asked[file] += 1
        self.queries[file] = parse_qs(place.query)
        if file == self.broken:
            return json_answer({"detail": "Later.", "status": 503}, 503, **{"Retry-After": "600"})
        return 200, {"Content-Type": "text/csv", **({"unframed": "yes"} if self.unframed else {})}, self.content(file)


@pytest.fixture
def exports() -> Exports:
    return Exports()


@pytest.fixture
def site(exports: Exports, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    with service(exports) as url:
        monkeypatch.setenv("FLYROUND_SITE", url)
        monkeypatch.setenv("FLYROUND_TOKEN", "fly_key")
        yield url


def test_every_table_comes_with_how_to_read_it(site: str, exports: Exports, tmp_path: Path):
    told = run("export", tmp_path / "season", "--farm", FARM)
    assert told.exit_code == 0, told.output
    assert sorted([*FILES, "flyround-export.json"]) == sorted(each.name for each in (tmp_path / "season").iterdir())
    assert all((tmp_path / "season" / file).read_bytes() == exports.content(file) for file in FILES)
    assert exports.queries["readings.csv"] == {"since": ["2026-04-06"]}
    assert exports.queries["stations.csv"] == exports.queries["readings.schema.json"] == {}


def test_a_broken_export_goes_on_where_it_was_and_a_finished_one_anew(site: str, exports: Exports, tmp_path: Path):
    exports.broken = "rounds.csv"
    broken = run("export", tmp_path, "--farm", FARM)
    assert (broken.exit_code, "Later." in broken.stderr) == (3, True)
    assert not (tmp_path / "rounds.csv").exists()
    exports.broken = ""
    (tmp_path / "readings.schema.json").write_text("spoiled since")
    again = run("export", tmp_path, "--farm", FARM)
    assert (again.exit_code, "readings.csv: whole already" in again.stdout) == (0, True)
    assert (exports.asked["readings.csv"], exports.asked["readings.schema.json"], exports.asked["rounds.csv"]) == (
        1,
        2,
        2,
    )
    run("export", tmp_path, "--farm", FARM)
    assert exports.asked["readings.csv"] == 2
    other = run("export", tmp_path, "--farm", FARM, "--format", "ndjson", "--since", "2026-05-01")
    assert (other.exit_code, exports.queries["rounds.ndjson"]) == (0, {"since": ["2026-05-01"]})


def test_a_format_that_is_not_there_is_told(site: str, tmp_path: Path):
    for name in ("doc", "xlsx"):
        told = run("export", tmp_path / "season", "--farm", FARM, "--format", name)
        assert (told.exit_code, "Use one of csv" in told.stderr) == (2, True), told.output


@pytest.mark.parametrize("unframed", [False, True])
def test_over_a_line_that_breaks_every_file_is_whole(site: str, exports: Exports, tmp_path: Path, unframed: bool):  # noqa: FBT001
    """Where an answer tells no length, a broken line looks like its end: such a file is believed when it came twice."""
    exports.unframed = unframed
    with CutLine(site, 7) as line:
        for _ in range(60):
            told = run("export", tmp_path, "--farm", FARM, "--site", line.url)
            if told.exit_code == 0:
                break
            assert told.exit_code == 3, told.output
            assert all((tmp_path / file).read_bytes() == exports.content(file) for file in whole(tmp_path))
        assert sum(line.cuts.values()) > 0
    assert told.exit_code == 0 and set(whole(tmp_path)) == set(FILES)
    assert all((tmp_path / file).read_bytes() == exports.content(file) for file in FILES)


def whole(folder: Path) -> list[str]:
    found = (
        json.loads((folder / "flyround-export.json").read_text())
        if folder.joinpath("flyround-export.json").exists()
        else {}
    )
    return list(found.get("files", {}))
