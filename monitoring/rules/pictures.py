"""A picture from anywhere, made anew: what it is by its bytes, how large it may be, and nothing kept but what is seen.

JPEG, PNG, WebP, or one page of a PDF. What is stored is written by us from the pixels alone, so that no place, time,
camera or hidden part of the file is kept (Exif, XMP, comments).
"""

import struct
import subprocess
import sys
import zlib
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

from django.utils.translation import gettext_lazy as _
from PIL import Image, ImageOps

from farms.errors import Invalid, TooLarge
from monitoring.rules import pdf_page

MOST_BYTES = 10 * 1024 * 1024
MOST_PIXELS = 25_000_000
# A yard on a desk's screen, and on paper at 200 dots an inch.
LONGEST = 2_000
SHORTEST = 16
QUALITY = 82
# How a file of each kind begins: ITU-T T.81, B.1.1.3 (SOI and a marker); ISO/IEC 15948, 5.2; ISO 32000-2, 7.5.2.
JPEG, PNG, PDF = b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"%PDF-"
RIFF, WEBP = b"RIFF", b"WEBP"  # RFC 9649, 2.4: four bytes of length between the two
MEDIA_TYPES = {"jpeg": "image/jpeg", "png": "image/png"}
# What a broken file makes of Pillow's readers.
UNREADABLE: tuple[type[Exception], ...] = (
    OSError, SyntaxError, ValueError, EOFError, IndexError, KeyError, TypeError, OverflowError, MemoryError,
    struct.error, zlib.error,
)  # fmt: skip
BOMBS = (Image.DecompressionBombError, Image.DecompressionBombWarning)
PDF_SECONDS = 30


class PictureRefused(Invalid):
    code = "picture_refused"


class PictureMissing(PictureRefused):
    code = "picture_missing"
    message = _("This file is empty. Choose the picture again.")


class PictureKindUnknown(PictureRefused):
    code = "picture_kind_unknown"
    message = _(
        "This file is no JPEG, PNG or WebP picture and no PDF, whatever its name says. Photograph or scan the sketch, "
        "and choose that file."
    )


class PictureBroken(PictureRefused):
    code = "picture_broken"
    message = _("This file can't be read to its end: it is damaged or cut off. Save or photograph it anew.")


class PictureTooSmall(PictureRefused):
    code = "picture_too_small"
    message = _("This picture has hardly a point in it. Choose one of at least 16 by 16 points.")


class PdfLocked(PictureRefused):
    code = "pdf_locked"
    message = _("This PDF opens with a password only. Save it without one, or photograph the page.")


class PdfPageMissing(PictureRefused):
    code = "pdf_page_missing"
    message = _("This PDF has no page {page}: its last page is {last}. Choose one that is there.")


class PictureTooLarge(TooLarge):
    code = "picture_too_large"
    message = _("This file has more than 10 MB. Take the picture with fewer points, and choose it again.")


class PictureTooManyPoints(TooLarge):
    code = "picture_too_many_points"
    message = _("This picture has more than 25 million points. Take it smaller, and choose it again.")


class PdfTooMuch(TooLarge):
    code = "pdf_too_much"
    message = _("This page of the PDF takes too long to draw. Photograph or print it, and choose that picture.")


@dataclass(frozen=True)
class Picture:
    """A picture as it is stored: `kind` is jpeg or png, `content` our own file, its size in points."""

    kind: str
    content: bytes
    width: int
    height: int


def picture_from(content: bytes, *, page: int = 1) -> Picture:
    """The picture in a file's bytes, or that of one page of a PDF. Raises PictureRefused or TooLarge kinds."""
    if not content:
        raise PictureMissing(pointer="/picture")
    if len(content) > MOST_BYTES:
        raise PictureTooLarge(pointer="/picture")
    if content.startswith(PDF):
        return _written(_seen(_page_of(content, page), "PNG"), drawing=True)
    kind = _kind_of(content)
    return _written(_seen(content, kind), drawing=kind == "PNG")


def _kind_of(content: bytes) -> str:
    if content.startswith(JPEG):
        return "JPEG"
    if content.startswith(PNG):
        return "PNG"
    if content.startswith(RIFF) and content[8:12] == WEBP:
        return "WEBP"
    raise PictureKindUnknown(pointer="/picture")


def _seen(content: bytes, kind: str) -> Image.Image:
    """What is seen of it, upright, on white, at most LONGEST points a side. Its size is asked before it is read."""
    try:
        with Image.open(BytesIO(content), formats=(kind,)) as image:
            if image.width * image.height > MOST_PIXELS:
                raise PictureTooManyPoints(pointer="/picture")
            if min(image.size) < SHORTEST:
                raise PictureTooSmall(pointer="/picture")
            image.draft("RGB", (LONGEST, LONGEST))  # a JPEG is read no finer than it is kept
            return _plain(ImageOps.exif_transpose(image))
    except BOMBS as bomb:
        raise PictureTooManyPoints(pointer="/picture") from bomb
    except UNREADABLE as error:
        raise PictureBroken(pointer="/picture") from error


def _plain(image: Image.Image) -> Image.Image:
    if image.mode.startswith("I;16"):  # 16 bits of grey, as scanners give them
        image = image.convert("I").point(lambda value: value / 256).convert("L")
    if "A" in image.getbands() or "transparency" in image.info:
        clear = image.convert("RGBA")
        image = Image.new("RGBA", clear.size, "white")
        image.alpha_composite(clear)
    image = image.convert("RGB")
    image.thumbnail((LONGEST, LONGEST), Image.Resampling.LANCZOS)
    return image


def _written(image: Image.Image, *, drawing: bool) -> Picture:
    """Our own file of it: a photo as JPEG; a drawing as PNG where that is smaller, since its lines stay sharp."""
    bare = Image.frombytes("RGB", image.size, image.tobytes())  # the pixels, without what came with them
    found = {"jpeg": _file_of(bare, "JPEG", quality=QUALITY, progressive=True)}
    if drawing:
        found["png"] = _file_of(bare, "PNG")
    kind = min(found, key=lambda each: len(found[each]))
    return Picture(kind, found[kind], *image.size)


def _file_of(image: Image.Image, form: str, **how: int | bool) -> bytes:
    kept = BytesIO()
    image.save(kept, form, **how)
    return kept.getvalue()


def _page_of(content: bytes, page: int) -> bytes:
    """A page as a PNG, drawn by a process of its own with so much time and memory (monitoring.rules.pdf_page)."""
    command = [sys.executable, "-I", str(Path(pdf_page.__file__)), str(page), str(LONGEST)]
    try:
        done = subprocess.run(command, input=content, capture_output=True, timeout=PDF_SECONDS, check=False)
    except subprocess.TimeoutExpired as late:
        raise PdfTooMuch(pointer="/picture") from late
    if done.returncode == pdf_page.LOCKED:
        raise PdfLocked(pointer="/picture")
    if done.returncode == pdf_page.NO_SUCH_PAGE:
        raise PdfPageMissing(pointer="/page", page=page, last=int(done.stdout or b"0"))
    if done.returncode in (pdf_page.BROKEN, pdf_page.EMPTY_PAGE):
        raise PictureBroken(pointer="/picture")
    if done.returncode:  # stopped by its limits, or fallen over them
        raise PdfTooMuch(pointer="/picture")
    return done.stdout
