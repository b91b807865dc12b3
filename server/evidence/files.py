"""Files that are written once and never again: whole or not at all, also where the machine stops in between."""

import contextlib
import os
import secrets
from pathlib import Path


class AlreadyThere(Exception):
    """A file of this name is there, and holds something else."""


def write_once(path: Path, content: bytes, *, mode: int) -> None:
    """Write a file under a name that isn't taken. The same content again is no error; another raises AlreadyThere."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        with os.fdopen(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, mode), "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        # A link fails where the name is taken; a rename would overwrite.
        os.link(part, path)
    except FileExistsError as error:
        if path.read_bytes() != content:
            raise AlreadyThere(f"{path} is there already and holds something else. It is never overwritten.") from error
    finally:
        with contextlib.suppress(FileNotFoundError):
            part.unlink()
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
