"""A farm's season as files in a folder: each streamed beside its place and renamed when it is whole.

Which are whole stands in a file of the folder, so that an export that was broken off goes on where it was.
"""

import contextlib
import hashlib
import json
import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from io import BufferedRandom, BufferedReader
from pathlib import Path
from typing import Any

from server.client.answers import Away
from server.client.flyround import Flyround
from server.client.sign_in import Unusable

FORMATS = ("csv", "xlsx", "parquet", "ndjson")
LIST = "flyround-export.json"
# How often one file is asked for in a row before we leave it.
TRIES = 4
NOT_THE_SAME = "{file} came to its end in two different places, so the line broke. Run the same command again."


@dataclass(frozen=True)
class Export:
    """What is exported: of which farm, in which format, which days (ISO dates; empty for all of them)."""

    site: str
    farm: str
    format: str
    since: str = ""
    until: str = ""

    def files_of(self, tables: Iterable[Mapping[str, Any]]) -> dict[str, dict[str, str]]:
        """Each file with its query: the tables that the service lists, how to read each, and the package of all.

        Days go to the tables that have some; a card's place has none.
        """
        days = {name: day for name, day in (("since", self.since), ("until", self.until)) if day}
        files = {}
        for table in tables:
            if self.format not in table["formats"]:
                raise Unusable(f"{table['name']} isn't to be had as {self.format}. Use one of {', '.join(FORMATS)}.")
            query = {name: day for name, day in days.items() if name in table["filters"]}
            files[f"{table['name']}.{self.format}"] = query
            files[f"{table['name']}.schema.json"] = {}
        return files | {"datapackage.json": {}}


def season_days(flyround: Flyround, farm: str) -> tuple[str, str]:
    """The first and the last day of the farm's newest season; "" for the last while it is open, or without one."""
    newest = next(flyround.seasons(farm), None)
    return (newest["opens_on"], newest["closes_on"] or "") if newest else ("", "")


def fetch(
    flyround: Flyround, export: Export, files: Mapping[str, Mapping[str, str]], folder: Path, *, anew: bool
) -> Iterator[tuple[str, bool]]:
    """Fetch what isn't whole yet into the folder: each file's name, and whether it was there already.

    An export that was finished is fetched anew. Raises Away, Refused or Unusable; what is whole then stays.
    """
    with _written(folder):
        folder.mkdir(parents=True, exist_ok=True)
    whole = {} if anew else _whole(folder, export)
    for file, query in files.items():
        there = _is_whole(folder / file, whole.get(file))
        if not there:
            whole[file] = _fetch_one(flyround, export.farm, folder, file, query)
            _note(folder, export, whole, finished=False)
        yield file, there
    _note(folder, export, whole, finished=True)


def _fetch_one(flyround: Flyround, farm: str, folder: Path, file: str, query: Mapping[str, str]) -> dict[str, Any]:
    """One file, written beside its place, then renamed. Its size and SHA-256."""
    part = folder / f"{file}.part"
    before, tried = "", 0
    while True:
        try:
            framed, size, digest = _download(flyround, farm, file, query, part)
        except Away as away:
            flyround.wait(tried, away)
        else:
            # Without a told end only the same twice is believed.
            if framed or digest == before:
                break
            before = digest
            if tried >= TRIES:
                raise Away(NOT_THE_SAME.format(file=file))
        tried += 1
    with _written(folder):
        part.replace(folder / file)
    return {"size": size, "sha256": digest}


def _download(flyround: Flyround, farm: str, file: str, query: Mapping[str, str], part: Path) -> tuple[bool, int, str]:
    with _written(part.parent), part.open("w+b") as out:
        framed = flyround.export(farm, file, query, out)
        out.flush()
        os.fsync(out.fileno())
        return framed, out.tell(), _digest(out)


def _digest(out: BufferedReader | BufferedRandom) -> str:
    out.seek(0)
    return hashlib.file_digest(out, "sha256").hexdigest()


def _is_whole(path: Path, noted: Mapping[str, Any] | None) -> bool:
    """Whether a file is there as it was noted when it was whole."""
    if noted is None or not path.is_file() or path.stat().st_size != noted["size"]:
        return False
    with path.open("rb") as file:
        return _digest(file) == str(noted["sha256"])


def _whole(folder: Path, export: Export) -> dict[str, dict[str, Any]]:
    """What is noted as whole of this very export, if it was broken off."""
    try:
        noted = json.loads((folder / LIST).read_text())
        return dict(noted["files"]) if noted["export"] == asdict(export) and not noted["finished"] else {}
    except (OSError, ValueError, KeyError, TypeError):
        return {}


def _note(folder: Path, export: Export, whole: Mapping[str, Any], *, finished: bool) -> None:
    part = folder / f"{LIST}.part"
    with _written(folder):
        part.write_text(json.dumps({"export": asdict(export), "finished": finished, "files": whole}, indent=2))
        part.replace(folder / LIST)


@contextlib.contextmanager
def _written(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise Unusable(f"{folder} can't be written: {error.strerror}. Name another folder.") from error
