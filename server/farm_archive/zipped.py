"""The ZIP of an archive: members as they come, stored and not packed, all alike but for what they say.

Nothing in it depends on the machine, the moment or a library's version, and no member can be larger than the file.
"""

import hashlib
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

EARLIEST = (1980, 1, 1, 0, 0, 0)  # of a ZIP
READABLE_BY_OWNER = 0o100600 << 16
UNIX = 3


class Sink:
    """What the ZIP's writer wrote since it was asked last; it can't be sought in."""

    def __init__(self) -> None:
        self._held: list[bytes] = []

    def write(self, piece: bytes) -> int:
        self._held.append(bytes(piece))
        return len(piece)

    def flush(self) -> None:
        return

    def taken(self) -> Iterator[bytes]:
        held, self._held = b"".join(self._held), []
        if held:
            yield held


@dataclass(frozen=True)
class Member:
    """One file to be written: its name, its bytes in pieces, and whether its lines are rows."""

    name: str
    pieces: Iterable[bytes]
    has_rows: bool = False


def written(file: zipfile.ZipFile, sink: Sink, member: Member, told: list[dict[str, Any]]) -> Iterator[bytes]:
    """The bytes of one member while it is written; what the manifest says of it is added to `told`."""
    digest, size, rows = hashlib.sha256(), 0, 0
    # Always in the form for large files: whether one is large is known behind it.
    with file.open(_entry(member.name), "w", force_zip64=True) as entry:
        for piece in member.pieces:
            entry.write(piece)
            digest.update(piece)
            size += len(piece)
            rows += bytes(piece).count(b"\n")
            yield from sink.taken()
    yield from sink.taken()
    said = {"name": member.name, "bytes": size, "sha256": digest.hexdigest()}
    told.append(said | ({"rows": rows} if member.has_rows else {}))


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, EARLIEST)
    entry.create_system, entry.external_attr = UNIX, READABLE_BY_OWNER
    return entry
