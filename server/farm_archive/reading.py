"""An archive that somebody brings, looked at before a row of it is loaded: names, sizes, SHA-256, rows, whose they are.

Nothing is ever unpacked: members are read where they lie, so a name in the file leads nowhere on this machine.
"""

import hashlib
import json
import re
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any
from uuid import UUID

from django.db.migrations.loader import MigrationLoader

from server.farm_archive.errors import ArchiveRefused
from server.farm_archive.making import FORMAT, MANIFEST, PEOPLE, schema
from server.farm_archive.tables import ArchivedTable, archived, surroundings

PIECE = 1 << 20
LONGEST_LINE = 1 << 24
MOST_OF_A_MANIFEST = 1 << 28
ENCRYPTED = 0x1
FILE = re.compile(r"files/[a-z_]+/[0-9a-f-]{36}\.[a-z_]+")
AGAIN = "Take the archive once more from where it was made."


@dataclass(frozen=True)
class Brought:
    """An archive whose every member is as its manifest says."""

    farm_id: UUID
    manifest: dict[str, Any]
    file: zipfile.ZipFile

    def lines(self, member: str) -> Iterator[bytes]:
        with self.file.open(member) as content:
            while line := content.readline(LONGEST_LINE + 1):
                if len(line) > LONGEST_LINE or not line.endswith(b"\n"):
                    raise ArchiveRefused(f"{member} has a line that is too long or has no end. {AGAIN}")
                yield line

    def content(self, member: str) -> bytes:
        try:
            return self.file.read(member)
        except KeyError as error:
            raise ArchiveRefused(
                f"A row names the file {member[:120]}, and the archive has none of it. {AGAIN}"
            ) from error

    def rows(self, table: ArchivedTable) -> Iterator[tuple[dict[str, Any], str]]:
        """Each row, as what it says and as it stands. Raises ArchiveRefused where it isn't this farm's."""
        expected = {column.name for column in table.columns}
        for number, line in enumerate(self.lines(table.member), start=1):
            row = _row(table.member, number, line)
            if set(row) != expected:
                raise ArchiveRefused(f"Line {number} of {table.member} has other columns than its table. {AGAIN}")
            if "farm_id" in row and row["farm_id"] != str(self.farm_id):
                raise ArchiveRefused(
                    f"Line {number} of {table.member} is another farm's, so nothing was stored. {AGAIN}"
                )
            yield row, line.decode()


def _row(member: str, number: int, line: bytes) -> dict[str, Any]:
    try:
        row = json.loads(line, object_pairs_hook=_without_doubles)
    except (ValueError, RecursionError) as error:
        raise ArchiveRefused(f"Line {number} of {member} isn't a row in JSON. {AGAIN}") from error
    if not isinstance(row, dict):
        raise ArchiveRefused(f"Line {number} of {member} isn't a row in JSON. {AGAIN}")
    return row


def _without_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """One reader takes the first of two, another the last: none may stand there twice."""
    if len({name for name, _value in pairs}) != len(pairs):
        raise ValueError("a name stands there twice")
    return dict(pairs)


@contextmanager
def brought(path: Path) -> Iterator[Brought]:
    """An archive, checked to its last byte. Raises ArchiveRefused."""
    try:
        with zipfile.ZipFile(path) as file:
            yield _checked(path, file)
    except FileNotFoundError as error:
        raise ArchiveRefused(f"There is no file {path}.") from error
    except (zipfile.BadZipFile, EOFError, NotImplementedError, UnicodeDecodeError) as error:
        raise ArchiveRefused(f"{path} is no archive of a farm, or only a part of one. {AGAIN}") from error


def _checked(path: Path, file: zipfile.ZipFile) -> Brought:
    _require_plain_members(path, file)
    manifest = _manifest(file)
    _require_this_version(manifest)
    told = {each["name"]: each for each in manifest["members"]}
    there = {each.filename for each in file.infolist()} - {MANIFEST}
    needed = {PEOPLE, *(table.member for table in (*surroundings(), *archived()))}
    others = {name for name in there - needed if not FILE.fullmatch(name)}
    if there != set(told) or not needed <= there or others:
        odd = min((there ^ set(told)) | (needed - there) | others)
        raise ArchiveRefused(f"{odd[:120]} is missing from the archive or doesn't belong there. {AGAIN}")
    for name in sorted(there):
        _require_as_told(file, told[name])
    return Brought(UUID(manifest["farm"]), manifest, file)


def _require_plain_members(path: Path, file: zipfile.ZipFile) -> None:
    """Stored as they are, none twice, and together no more than the file holds: nothing grows when it is read."""
    members = file.infolist()
    plain = all(
        each.compress_type == zipfile.ZIP_STORED
        and each.compress_size == each.file_size
        and not each.flag_bits & ENCRYPTED
        for each in members
    )
    names = {each.filename for each in members}
    if not plain or len(names) != len(members) or sum(each.file_size for each in members) > path.stat().st_size:
        raise ArchiveRefused(
            f"{path} is packed in another way than Flyround packs archives: members are stored, none twice. {AGAIN}"
        )


def _manifest(file: zipfile.ZipFile) -> dict[str, Any]:
    if MANIFEST not in file.namelist() or file.getinfo(MANIFEST).file_size > MOST_OF_A_MANIFEST:
        raise zipfile.BadZipFile
    try:
        manifest: dict[str, Any] = json.loads(file.read(MANIFEST))
        UUID(manifest["farm"])
        well_formed = (
            isinstance(manifest["format"], int)
            and all(isinstance(each, str) for each in (*manifest["schema"].values(), manifest["version"]))
            and all(isinstance(each["name"], str) for each in manifest["members"])
        )
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise ArchiveRefused(f"The archive's {MANIFEST} can't be read. {AGAIN}") from error
    if not well_formed:
        raise ArchiveRefused(f"The archive's {MANIFEST} can't be read. {AGAIN}")
    return manifest


def _require_this_version(manifest: dict[str, Any]) -> None:
    here, there, version = schema(), manifest["schema"], manifest["version"][:40]
    if manifest["format"] == FORMAT and there == here:
        return
    known = {name for _app, name in MigrationLoader(None, ignore_no_migrations=True).disk_migrations}
    if manifest["format"] > FORMAT or not set(there.values()) <= known:
        raise ArchiveRefused(
            f"The archive was made by a newer version of Flyround ({version}): upgrade this installation to it first."
        )
    raise ArchiveRefused(
        f"The archive was made by an older version of Flyround ({version}): load it into an empty installation of that "
        "version, upgrade that one to this version, and make the archive there anew."
    )


def _require_as_told(file: zipfile.ZipFile, told: dict[str, Any]) -> None:
    digest, rows = hashlib.sha256(), 0
    with file.open(told["name"]) as content:
        for piece in _pieces(content):
            digest.update(piece)
            rows += piece.count(b"\n")
    if digest.hexdigest() != told.get("sha256") or file.getinfo(told["name"]).file_size != told.get("bytes"):
        raise ArchiveRefused(f"{told['name']} isn't as it was written: it was changed or damaged. {AGAIN}")
    if "rows" in told and rows != told["rows"]:
        raise ArchiveRefused(f"{told['name']} has {rows} rows, and the manifest says {told['rows']}. {AGAIN}")


def _pieces(content: IO[bytes]) -> Iterator[bytes]:
    while piece := content.read(PIECE):
        yield piece
