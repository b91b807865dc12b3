"""The file of a backup: a tar of `database.dump` (pg_dump's custom format), `manifest.json` and the manifest's SHA-256.

It is written under a name that is no backup's and gets its own name when it is whole and on the disk; a file that is
there is never written over.
"""

import contextlib
import fcntl
import hashlib
import json
import os
import tarfile
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from server.backup.errors import BackupError

FORMAT = 1
DUMP, MANIFEST, SEAL = "database.dump", "manifest.json", "manifest.sha256"
PIECE = 1 << 20
MOST_OF_A_MANIFEST = 1 << 28
UNFINISHED = ".flyround-unfinished-"
Manifest = dict[str, Any]


@dataclass(frozen=True)
class Opened:
    """An archive whose every byte is as it was written: its manifest, and its dump in a file of its own."""

    manifest: Manifest
    dump: Path


def hashed_copy(source: IO[bytes], target: IO[bytes]) -> tuple[int, str]:
    """Copy to the end; how many bytes, and their SHA-256."""
    size, digest = 0, hashlib.sha256()
    while piece := source.read(PIECE):
        digest.update(piece)
        target.write(piece)
        size += len(piece)
    return size, digest.hexdigest()


@contextlib.contextmanager
def new_file(target: Path) -> Iterator[IO[bytes]]:
    """A file that is at `target`, readable by its owner alone, if the block ends well, and nowhere if it doesn't."""
    if target.exists():
        raise BackupError(f"{target} is there already: name another file, or a folder.")
    if not target.parent.is_dir():
        raise BackupError(f"There is no folder {target.parent}: make it, or name another.")
    remove_unfinished(target.parent)
    part = target.with_name(f"{UNFINISHED}{os.getpid()}")
    try:
        with open(os.open(part, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, 0o600), "w+b") as file:
            fcntl.flock(file, fcntl.LOCK_EX)
            yield file
            file.flush()
            os.fsync(file.fileno())
            os.link(part, target)
    except FileExistsError as error:
        raise BackupError(f"{target} came meanwhile: name another file, or a folder.") from error
    finally:
        part.unlink(missing_ok=True)
    sync_folder(target.parent)


def remove_unfinished(folder: Path) -> None:
    """Take away what a killed backup left here; one that is being written is locked."""
    for part in folder.glob(f"{UNFINISHED}*"):
        with contextlib.suppress(OSError), part.open("rb") as file:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            part.unlink()


def sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def write_dump(file: IO[bytes], source: IO[bytes]) -> dict[str, Any]:
    """Write the first member while it comes; its size stands before it and is known behind it."""
    start = file.tell()
    file.write(_header(DUMP, 0))
    size, digest = hashed_copy(source, file)
    file.write(bytes(-size % tarfile.BLOCKSIZE))
    end = file.tell()
    file.seek(start)
    file.write(_header(DUMP, size))
    file.seek(end)
    return {"bytes": size, "sha256": digest}


def write_manifest(file: IO[bytes], manifest: Manifest) -> None:
    """Write the last two members and the end of the tar."""
    text = json.dumps(manifest, indent=1, sort_keys=True).encode()
    for name, content in ((MANIFEST, text), (SEAL, hashlib.sha256(text).hexdigest().encode())):
        file.write(_header(name, len(content)) + content + bytes(-len(content) % tarfile.BLOCKSIZE))
    file.write(bytes(2 * tarfile.BLOCKSIZE))


def _header(name: str, size: int) -> bytes:
    member = tarfile.TarInfo(name)
    member.size, member.mode = size, 0o600
    return member.tobuf(format=tarfile.GNU_FORMAT)


@contextlib.contextmanager
def opened(path: Path) -> Iterator[Opened]:
    """An archive, checked to the last byte, and its dump in the temporary folder. Raises BackupError."""
    try:
        with tarfile.open(path, "r:") as tar, tempfile.TemporaryDirectory(prefix="flyround-restore-") as folder:
            dump = Path(folder) / DUMP
            yield Opened(_checked(path, tar, dump), dump)
    except (tarfile.TarError, EOFError) as error:
        raise BackupError(
            f"{path} is no backup of Flyround, or only the beginning of one: take another copy."
        ) from error
    except FileNotFoundError as error:
        raise BackupError(f"There is no file {path}.") from error


def _checked(path: Path, tar: tarfile.TarFile, dump: Path) -> Manifest:
    members = tar.getmembers()
    if [member.name for member in members] != [DUMP, MANIFEST, SEAL] or not all(each.isreg() for each in members):
        raise tarfile.ReadError
    manifest = _manifest(path, tar, members)
    with dump.open("xb") as target:
        size, digest = hashed_copy(_content(tar, members[0]), target)
    if {"bytes": size, "sha256": digest} != manifest["dump"]:
        raise BackupError(_changed(path))
    return manifest


def _manifest(path: Path, tar: tarfile.TarFile, members: list[tarfile.TarInfo]) -> Manifest:
    text = _content(tar, members[1]).read(MOST_OF_A_MANIFEST)
    if hashlib.sha256(text).hexdigest().encode() != _content(tar, members[2]).read(100):
        raise BackupError(_changed(path))
    manifest: Manifest = json.loads(text)
    if manifest["format"] > FORMAT:
        raise BackupError(
            f"{path} was written by a newer version of Flyround ({manifest['version']}): restore it with that version."
        )
    return manifest


def _content(tar: tarfile.TarFile, member: tarfile.TarInfo) -> IO[bytes]:
    content = tar.extractfile(member)
    assert content is not None  # noqa: S101 - it is a regular file
    return content


def _changed(path: Path) -> str:
    return f"{path} isn't as it was written: a part of it was changed or damaged. Take another copy."
