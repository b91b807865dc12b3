"""The pixels of a picture from anywhere: what it is by its bytes, how large it may be, and only what is seen is kept.

What a file is and how large its picture is are read from its first bytes, by each format's own standard, before
anything is unpacked: a few bytes can claim a picture that fills the memory. Metadata is not picked out of the file,
since what isn't known can't be picked out: only pixels go over into a new picture.
"""

import io
import struct
import zlib
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from enum import Enum, auto
from typing import Any

from PIL import Image
from PIL.JpegImagePlugin import JpegImageFile
from PIL.PngImagePlugin import PngImageFile
from PIL.WebPImagePlugin import WebPImageFile

from farms.errors import FlyroundError

MOST_BYTES = 10 * 1024 * 1024
MOST_PIXELS = 25_000_000
# What is kept: enough for a desk's screen, and for a yard on paper at 200 dots an inch.
LONGEST = 2_000
QUALITY = 82
# How each begins: ITU-T T.81, B.1.1.3 (SOI and a marker); ISO/IEC 15948, 5.2; RFC 9649, 2.4 (four bytes of length
# between the two).
JPEG, PNG = b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"
RIFF, WEBP = b"RIFF", b"WEBP"
# Markers of T.81, table B.1: start of frame, of all its processes; and those that stand alone, without a length.
FRAMES = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}
ALONE = {0x01, *range(0xD0, 0xD8)}
# Each scan goes over the whole picture anew; ten are usual where there are several. Within a scan FF DA can't stand.
SCAN, MOST_SCANS = b"\xff\xda", 100
# How to turn a picture upright by EXIF's orientation (CIPA DC-008, tag 274).
TURN = Image.Transpose
TURNED = {
    2: TURN.FLIP_LEFT_RIGHT, 3: TURN.ROTATE_180, 4: TURN.FLIP_TOP_BOTTOM, 5: TURN.TRANSPOSE,
    6: TURN.ROTATE_270, 7: TURN.TRANSVERSE, 8: TURN.ROTATE_90,
}  # fmt: skip
# What Pillow raises at files that only begin as pictures.
UNREADABLE = (
    OSError, SyntaxError, ValueError, EOFError, LookupError, TypeError, OverflowError, MemoryError, struct.error,
    zlib.error, Image.DecompressionBombError,
)  # fmt: skip


class Kind(Enum):
    JPEG = auto()
    PNG = auto()
    WEBP = auto()


class Fault(Enum):
    """Why a file is no picture for us. Whoever takes it has words of their own for each."""

    EMPTY = auto()
    TOO_LARGE = auto()
    UNKNOWN = auto()
    TOO_MANY_PIXELS = auto()
    BROKEN = auto()


class NoPicture(Exception):
    def __init__(self, fault: Fault) -> None:
        self.fault = fault
        super().__init__(fault.name)


@dataclass(frozen=True)
class Claimed:
    """What the first bytes say: size in pixels, bits a colour, components (0 where the format doesn't say)."""

    kind: Kind
    width: int
    height: int
    bits: int
    components: int = 0
    moves: bool = False


@contextmanager
def told_as(refusals: Mapping[Fault, type[FlyroundError]], pointer: str) -> Iterator[None]:
    """Each fault in the words of whoever takes the file."""
    try:
        yield
    except NoPicture as none:
        raise refusals[none.fault](pointer=pointer) from none


def check_bytes(content: bytes) -> None:
    """Raises NoPicture for a file with nothing in it, or with too much."""
    if not content:
        raise NoPicture(Fault.EMPTY)
    if len(content) > MOST_BYTES:
        raise NoPicture(Fault.TOO_LARGE)


def claimed_by(content: bytes, kinds: Collection[Kind]) -> Claimed:
    """What a file of one of these kinds says that it holds. Raises NoPicture, also for more pixels than are taken."""
    kind = _kind_of(content)
    if kind is None or kind not in kinds:
        raise NoPicture(Fault.UNKNOWN)
    try:
        claimed = READERS[kind](content)
    except (struct.error, IndexError) as error:
        raise NoPicture(Fault.BROKEN) from error
    if claimed.width * claimed.height > MOST_PIXELS:
        raise NoPicture(Fault.TOO_MANY_PIXELS)
    return claimed


def pixels_of(content: bytes, claimed: Claimed) -> Image.Image:
    """The pixels alone, upright, on white, at most LONGEST a side. Raises NoPicture."""
    try:
        return _seen(PLUG_INS[claimed.kind](io.BytesIO(content)))
    except UNREADABLE as error:
        raise NoPicture(Fault.BROKEN) from error


def file_of(pixels: Image.Image, form: str, **how: int | bool) -> bytes:
    """Our own file of it."""
    kept = io.BytesIO()
    pixels.save(kept, form, **how)
    return kept.getvalue()


def _kind_of(content: bytes) -> Kind | None:
    if content.startswith(JPEG):
        return Kind.JPEG
    if content.startswith(PNG):
        return Kind.PNG
    return Kind.WEBP if content.startswith(RIFF) and content[8:12] == WEBP else None


def _claimed_by_jpeg(content: bytes) -> Claimed:
    """The frame header, T.81 B.2.2. Several of them could tell two sizes: the largest is held against the limit."""
    frames = list(_frames(content))
    if not frames or content.count(SCAN) > MOST_SCANS:
        raise NoPicture(Fault.BROKEN)
    return Claimed(Kind.JPEG, *(max(numbers) for numbers in zip(*frames, strict=True)))


def _frames(content: bytes) -> Iterator[tuple[int, int, int, int]]:
    """Width, height, bits and components of each frame, up to the first scan."""
    place = 2
    while place < len(content):
        if content[place] != 0xFF:  # what decoders skip
            place += 1
            continue
        marker = content[place + 1]
        if marker in (0xFF, 0x00) or marker in ALONE:
            place += 1 if marker == 0xFF else 2
            continue
        if marker in (0xD9, 0xDA):
            return
        (length,) = struct.unpack_from(">H", content, place + 2)
        if marker in FRAMES:
            bits, height, width, components = struct.unpack_from(">BHHB", content, place + 4)
            yield width, height, bits, components
        place += 2 + length


def _claimed_by_png(content: bytes) -> Claimed:
    """The image header, ISO/IEC 15948 11.2.2; and whether it moves (acTL, which stands before the picture)."""
    length, name, width, height, bits = struct.unpack_from(">I4sIIB", content, len(PNG))
    if name != b"IHDR" or length != 13:
        raise NoPicture(Fault.BROKEN)
    place, moves = len(PNG), False
    while not moves and place + 8 <= len(content):
        length, name = struct.unpack_from(">I4s", content, place)
        moves = name == b"acTL"
        if name in (b"IDAT", b"IEND"):
            break
        place += 12 + length
    return Claimed(Kind.PNG, width, height, bits, moves=moves)


def _claimed_by_webp(content: bytes) -> Claimed:
    """The first chunk: the canvas of RFC 9649 2.7, or the frame itself, without loss (3.4) or with (RFC 6386, 9.1)."""
    chunk = content[12:16]
    if chunk == b"VP8X":
        # Three bytes each, less one.
        width, high, height, higher = struct.unpack_from("<HBHB", content, 24)
        return Claimed(Kind.WEBP, (high << 16 | width) + 1, (higher << 16 | height) + 1, 8)
    if chunk == b"VP8L" and content[20] == 0x2F:
        (sizes,) = struct.unpack_from("<I", content, 21)
        return Claimed(Kind.WEBP, (sizes & 0x3FFF) + 1, (sizes >> 14 & 0x3FFF) + 1, 8)
    if chunk == b"VP8 " and content[23:26] == b"\x9d\x01\x2a":
        width, height = struct.unpack_from("<HH", content, 26)
        return Claimed(Kind.WEBP, width & 0x3FFF, height & 0x3FFF, 8)
    raise NoPicture(Fault.BROKEN)


def _seen(opened: Image.Image) -> Image.Image:
    turned = TURNED.get(_orientation(opened))
    # A JPEG is decoded at a part of its size already.
    opened.draft("RGB", (LONGEST, LONGEST))
    opened.load()
    pixels = _in_colour(opened)
    pixels.thumbnail((LONGEST, LONGEST), Image.Resampling.LANCZOS, reducing_gap=2.0)
    # A new picture: what else came with the file stays with it.
    flat = Image.new("RGB", pixels.size, "white")
    flat.paste(pixels, mask=pixels.getchannel("A") if pixels.mode == "RGBA" else None)
    return flat if turned is None else flat.transpose(turned)


def _in_colour(opened: Image.Image) -> Image.Image:
    """Eight bits a colour; with what is clear, where something is."""
    if opened.mode == "RGB" and "transparency" not in opened.info:
        return opened
    if opened.mode.startswith("I;16"):  # 16 bits of grey, as scanners give them
        return opened.convert("I").point(lambda value: value / 256).convert("L").convert("RGB")
    clear = "A" in opened.getbands() or "transparency" in opened.info
    return opened.convert("RGBA" if clear else "RGB")


def _orientation(opened: Image.Image) -> Any:
    """EXIF's tag 274: the only one of the file's own words that is heeded. Broken ones say nothing."""
    try:
        return opened.getexif().get(274)
    except UNREADABLE:
        return None


READERS: Mapping[Kind, Callable[[bytes], Claimed]] = {
    Kind.JPEG: _claimed_by_jpeg,
    Kind.PNG: _claimed_by_png,
    Kind.WEBP: _claimed_by_webp,
}
# By the plug-in, and not by Image.open, which would try others too.
PLUG_INS: Mapping[Kind, Callable[[io.BytesIO], Image.Image]] = {
    Kind.JPEG: JpegImageFile,
    Kind.PNG: PngImageFile,
    Kind.WEBP: WebPImageFile,
}
