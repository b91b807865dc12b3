"""Files to try the import with: a good one, ways to break it, and bombs made by hand. All invented."""

import random
from collections.abc import Callable

HEADER = "station,hung on,taken on,count,missing"
ROWS = [
    "Card 1,2026-05-18,2026-05-25,31,",
    "Card 2,2026-05-18,2026-05-25,,lost",
    "Card 3,2026-05-18,2026-05-25,300+,",
    "Trap 1,2026-05-18,2026-05-25,1.5 cups,",
    "Leg count 1,,2026-05-25,3 0 5 2,",
    "Card 1,2026-05-25,2026-06-01,42,",
]
GOOD = "\n".join([HEADER, *ROWS, ""]).encode()
MEGABYTE = 1024 * 1024
# Cells that spreadsheets compute, or that some program once read as a number.
CELLS = [
    "=1+1", '=HYPERLINK("http://example.org")', "+1", "-1", "@SUM(A1)", "1e400", "NaN", "inf", "0x1F", "9" * 400,
    "٣", "1,000", "1.000.000", "'41", "41 ", "\u202e14", "\ufeff41", "4\u00a01", "é", "e\u0301", "\U0001f41c", "",
    "null", "true", "2026-02-30", "31/12/2026", "\x0b", "\x7f", "x" * 5_000, "a\tb", '"', '""', "1\u20442",
]  # fmt: skip

Break = Callable[[bytes, random.Random], bytes]


def _somewhere(content: bytes, chance: random.Random, what: bytes) -> bytes:
    place = chance.randrange(len(content) + 1)
    return content[:place] + what + content[place:]


def _cell(content: bytes, chance: random.Random) -> bytes:
    """Put something else into one cell."""
    lines = content.split(b"\n")
    line = chance.randrange(len(lines))
    cells = lines[line].split(b",")
    cells[chance.randrange(len(cells))] = chance.choice(CELLS).encode()
    lines[line] = b",".join(cells)
    return b"\n".join(lines)


def _flip(content: bytes, chance: random.Random) -> bytes:
    place = chance.randrange(len(content)) if content else 0
    return content[:place] + bytes([chance.randrange(256)]) + content[place + 1 :]


def _drop(content: bytes, chance: random.Random) -> bytes:
    begin, length = chance.randrange(len(content) + 1), chance.randrange(20)
    return content[:begin] + content[begin + length :]


def _line_again(content: bytes, chance: random.Random) -> bytes:
    lines = content.split(b"\n")
    lines.insert(chance.randrange(len(lines) + 1), chance.choice(lines))
    return b"\n".join(lines)


def _encoded(name: str) -> Break:
    return lambda content, chance: content.decode("utf-8", "replace").encode(name, "replace")


BREAKS: dict[str, Break] = {
    "cell": _cell,
    "flip": _flip,
    "drop": _drop,
    "line again": _line_again,
    "nul": lambda content, chance: _somewhere(content, chance, b"\x00"),
    "quote": lambda content, chance: _somewhere(content, chance, b'"'),
    "separator": lambda content, chance: _somewhere(content, chance, chance.choice([b",", b";", b"\t", b",,,,"])),
    "line end": lambda content, chance: _somewhere(content, chance, chance.choice([b"\r", b"\n", b"\r\n", b"\n\n"])),
    "surrogate": lambda content, chance: _somewhere(content, chance, b"\xed\xa0\x80"),
    "latin-1 in between": lambda content, chance: _somewhere(content, chance, "ñ".encode("latin-1")),
    "bytes": lambda content, chance: _somewhere(content, chance, chance.randbytes(8)),
    "mark": lambda content, chance: b"\xef\xbb\xbf" + content,
    "cut": lambda content, chance: content[: chance.randrange(len(content) + 1)],
    "cr only": lambda content, chance: content.replace(b"\n", b"\r"),
    "semicolons": lambda content, chance: content.replace(b",", b";"),
    "utf-16": _encoded("utf-16"),
    "utf-16 without mark": _encoded("utf-16-le"),
    "utf-32": _encoded("utf-32"),
    "cp1252": _encoded("cp1252"),
    "upper case": lambda content, chance: content.upper(),
    "twice": lambda content, chance: content + content,
}

_ROW = b"Card 1,2026-05-18,2026-05-25,31,\n"
_HEAD = HEADER.encode() + b"\n"
BOMBS: dict[str, Callable[[], bytes]] = {
    "nothing": lambda: b"",
    "five megabytes of commas": lambda: b"," * (5 * MEGABYTE),
    "a header of commas": lambda: _HEAD.strip() + b"," * (4 * MEGABYTE) + b"\n" + _ROW,
    "a row of commas": lambda: _HEAD + _ROW + b"," * (4 * MEGABYTE),
    "a row of cells": lambda: _HEAD + _ROW + b"ab," * 1_500_000,
    "rows of a hundred cells": lambda: b",".join(b"c%d" % n for n in range(100)) + (b"\n" + b"12," * 99) * 17_000,
    "a hundred thousand columns": lambda: b",".join(b"c%d" % n for n in range(100_000)) + b"\n" + _ROW,
    "quotation marks": lambda: _HEAD + b'"' * (5 * MEGABYTE - 100),
    "an odd number of them": lambda: _HEAD + b'"' * (5 * MEGABYTE - 101),
    "a quote never closed": lambda: _HEAD + b'"' + _ROW * 100_000,
    "quoted line ends": lambda: _HEAD + b'"\n"' * 1_000_000,
    "pairs of quotes": lambda: _HEAD + b'"",' * 1_000_000,
    "a cell of a megabyte": lambda: _HEAD + b"Card 1,2026-05-18,2026-05-25," + b"9" * MEGABYTE + b",\n",
    "a quoted cell of a megabyte": lambda: _HEAD + b'Card 1,2026-05-18,2026-05-25,"' + b"x" * MEGABYTE + b'",\n',
    "a station of a megabyte": lambda: _HEAD + b"Card " + b"1" * MEGABYTE + b",2026-05-18,2026-05-25,3,\n",
    "a header of a megabyte": lambda: b"x" * MEGABYTE + b",count\n1,2\n",
    "a date of a megabyte": lambda: _HEAD + b"Card 1," + b"2" * MEGABYTE + b",2026-05-25,3,\n",
    "animals without end": lambda: _HEAD + b"Leg count 1,,2026-05-25," + b"3 " * 500_000 + b",\n",
    "blank lines": lambda: b"\n" * (5 * MEGABYTE),
    "blank lines before a row": lambda: _HEAD + b"\n" * (4 * MEGABYTE) + _ROW,
    "lines of spaces": lambda: _HEAD + b" \n" * 2_000_000 + _ROW,
    "carriage returns": lambda: b"\r" * (5 * MEGABYTE),
    "cr only": lambda: GOOD.replace(b"\n", b"\r"),
    "a column twice": lambda: b"station,count,count\nCard 1,1,2\n",
    "a column by two names": lambda: b"station,taken on,count,conteo\nCard 1,2026-06-01,1,2\n",
    "the same row to the most": lambda: _HEAD + _ROW * 50_000,
    "one row too many": lambda: _HEAD + _ROW * 50_001,
    "a million short rows": lambda: _HEAD + b"a\n" * 1_000_000,
    "rows of nonsense": lambda: _HEAD + b"\n".join(b"x%d,y%d,z%d,w%d,v%d" % ((n,) * 5) for n in range(50_000)),
    "every date another": lambda: _HEAD
    + b"\n".join(b"Card 1,%04d-%02d-%02d,2026-05-25,%d," % (1 + n // 336, 1 + n // 28 % 12, 1 + n % 28, n)
                 for n in range(50_000)),
    "every rule broken": lambda: _HEAD
    + b"\n".join(b"Leg count 1,%04d-01-02,2999-%02d-%02d,%d,lost" % (3000 + n // 336, 1 + n // 28 % 12, 1 + n % 28, n)
                 for n in range(50_000)),
    "slashes without an order": lambda: _HEAD
    + b"\n".join(b"Card 1,%d/%d/2026,%d/%d/2026,1," % (1 + n % 12, 1 + n // 12 % 12, 2, 3) for n in range(50_000)),
    "utf-16": lambda: GOOD.decode().encode("utf-16"),
    "half utf-8, half latin-1": lambda: GOOD + "Card 1,2026-05-18,2026-05-25,niño,\n".encode("latin-1"),
    "a surrogate": lambda: GOOD + b"Card 4,2026-05-18,2026-05-25,\xed\xa0\x80,\n",
    "nul": lambda: GOOD + b"\x00" * MEGABYTE,
    "a gzip": lambda: b"\x1f\x8b\x08" + bytes(range(256)) * 4_000,
    "a zip": lambda: b"PK\x03\x04" + b"\x00" * MEGABYTE,
    "marks": lambda: b"\xef\xbb\xbf" * 1_000_000,
    "combining marks": lambda: _HEAD + b"Card 1,2026-05-18,2026-05-25," + "e\u0301".encode() * 400_000 + b",\n",
    "zalgo in the header": ("count" + "\u0301" * 1_000_000 + "\n1\n").encode,
    "formulas": lambda: _HEAD + b"\n".join(
        b"=cmd|%d,2026-05-18,2026-05-25,=%d+1,@x" % (n, n) for n in range(50_000)),
    "six megabytes": lambda: b"x" * (6 * MEGABYTE),
}  # fmt: skip
