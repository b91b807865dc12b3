"""What a photo may be, and how it is made anew: a plain JPEG of its pixels, with nothing of the camera or the place.

What a file is and how large its picture is are read from its first bytes, by each format's own standard, before
anything is unpacked: a few bytes can claim a picture that fills the memory. Metadata is not picked out of the file,
since what isn't known can't be picked out: only pixels go over into a new picture.
"""

import io
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy as _
from PIL import Image
from PIL.JpegImagePlugin import JpegImageFile
from PIL.PngImagePlugin import PngImageFile

from farms.errors import Invalid, TooLarge

MOST_BYTES = 10 * 1024 * 1024
MOST_PIXELS = 25_000_000
LONGEST_SIDE, SMALL_SIDE = 2000, 360
QUALITY, SMALL_QUALITY = 82, 72
# How each begins: ITU-T T.81, B.1.1.3 (SOI and a marker); ISO/IEC 15948, 5.2.
JPEG, PNG = b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"
# Brands of ISO/IEC 14496-12 files that hold HEIF pictures (ISO/IEC 23008-12), as phones make them.
HEIF = (b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1", b"avif", b"avis")
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
BROKEN = (OSError, SyntaxError, ValueError, EOFError, LookupError, TypeError, struct.error, zlib.error, MemoryError)


class PhotoEmpty(Invalid):
    code = "photo_empty"
    message = _("This file is empty. Choose the photo again, or take it anew.")


class PhotoTooLarge(TooLarge):
    code = "photo_too_large"
    message = _(
        "This photo has more than 10 MB. Take it with a lower resolution, or send it smaller, and choose it again."
    )


class PhotoTooManyPixels(TooLarge):
    code = "photo_too_many_pixels"
    message = _("This photo has more than 25 megapixels. Choose a lower resolution in the camera and take it again.")


class PhotoIsHeic(Invalid):
    code = "photo_is_heic"
    message = _(
        "This photo is HEIC or AVIF, which can't be read here. Set the camera to JPEG (on some phones: camera "
        "settings, formats, “most compatible”) and take it again, or send a screenshot of it."
    )


class PhotoKindUnknown(Invalid):
    code = "photo_kind_unknown"
    message = _(
        "This file is no JPEG and no PNG picture, whatever its name says. Take the photo with the camera again."
    )


class PhotoBroken(Invalid):
    code = "photo_broken"
    message = _("This picture is damaged or was cut off on its way. Choose it again, or take it anew.")


class PhotoMoves(Invalid):
    code = "photo_moves"
    message = _("This picture moves. Take a photo that stands still, and choose that.")


class PhotoForPrint(Invalid):
    code = "photo_for_print"
    message = _(
        "This picture has colours for print, or 16 bits a colour. Save it as a usual JPEG (RGB, 8 bits), or take the "
        "photo with a phone, and choose that."
    )


@dataclass(frozen=True)
class Picture:
    """A photo made anew: JPEG, its size in pixels, and a small one for lists."""

    jpeg: bytes
    small: bytes
    width: int
    height: int


@dataclass(frozen=True)
class Claimed:
    """What the first bytes say: size in pixels, bits a colour, components (0 where the format doesn't say)."""

    width: int
    height: int
    bits: int
    components: int = 0


def made_anew(content: bytes) -> Picture:
    """The photo as it is kept. Raises PhotoTooLarge, PhotoTooManyPixels or an Invalid."""
    claimed = _claimed(content)
    if claimed.width * claimed.height > MOST_PIXELS:
        raise PhotoTooManyPixels(pointer="/file")
    if not claimed.width or not claimed.height:
        raise PhotoBroken(pointer="/file")
    if claimed.bits > 8 or claimed.components > 3:
        raise PhotoForPrint(pointer="/file")
    try:
        pixels = _pixels(content)
        small = pixels.copy()
        small.thumbnail((SMALL_SIDE, SMALL_SIDE))
        return Picture(_jpeg(pixels, QUALITY), _jpeg(small, SMALL_QUALITY), *pixels.size)
    except (*BROKEN, Image.DecompressionBombError) as error:
        raise PhotoBroken(pointer="/file") from error


def _claimed(content: bytes) -> Claimed:
    if not content:
        raise PhotoEmpty(pointer="/file")
    if len(content) > MOST_BYTES:
        raise PhotoTooLarge(pointer="/file")
    if content[4:8] == b"ftyp" and content[8:12] in HEIF:
        raise PhotoIsHeic(pointer="/file")
    try:
        if content.startswith(JPEG):
            return _claimed_by_jpeg(content)
        if content.startswith(PNG):
            return _claimed_by_png(content)
    except (struct.error, IndexError) as error:
        raise PhotoBroken(pointer="/file") from error
    raise PhotoKindUnknown(pointer="/file")


def _claimed_by_jpeg(content: bytes) -> Claimed:
    """The frame header, T.81 B.2.2. Several of them could tell two sizes: the largest is held against the limit."""
    frames = list(_frames(content))
    if not frames or content.count(SCAN) > MOST_SCANS:
        raise PhotoBroken(pointer="/file")
    return Claimed(*(max(numbers) for numbers in zip(*frames, strict=True)))


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
        raise PhotoBroken(pointer="/file")
    place = len(PNG)
    while place + 8 <= len(content):
        length, name = struct.unpack_from(">I4s", content, place)
        if name == b"acTL":
            raise PhotoMoves(pointer="/file")
        if name in (b"IDAT", b"IEND"):
            break
        place += 12 + length
    return Claimed(width, height, bits)


def _pixels(content: bytes) -> Image.Image:
    """The pixels alone, upright, on white, at most 2,000 a side."""
    # By the plug-in, and not by Image.open, which would try others too.
    opened = (JpegImageFile if content.startswith(JPEG) else PngImageFile)(io.BytesIO(content))
    if opened.mode not in ("1", "L", "LA", "P", "PA", "RGB", "RGBA"):
        raise PhotoForPrint(pointer="/file")
    turned = TURNED.get(_orientation(opened))
    # A JPEG is decoded at a part of its size already.
    opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
    opened.load()
    pixels: Image.Image = opened
    if opened.mode != "RGB":
        clear = opened.mode in ("LA", "PA", "RGBA") or "transparency" in opened.info
        pixels = opened.convert("RGBA" if clear else "RGB")
    pixels.thumbnail((LONGEST_SIDE, LONGEST_SIDE), Image.Resampling.LANCZOS, reducing_gap=2.0)
    # A new picture: what else came with the file stays with it.
    flat = Image.new("RGB", pixels.size, "white")
    flat.paste(pixels, mask=pixels.getchannel("A") if pixels.mode == "RGBA" else None)
    return flat if turned is None else flat.transpose(turned)


def _orientation(opened: Image.Image) -> Any:
    """EXIF's tag 274: the only one of the file's own words that is heeded. Broken ones say nothing."""
    try:
        return opened.getexif().get(274)
    except BROKEN:
        return None


def _jpeg(pixels: Image.Image, quality: int) -> bytes:
    kept = io.BytesIO()
    pixels.save(kept, "JPEG", quality=quality, optimize=True)
    return kept.getvalue()
