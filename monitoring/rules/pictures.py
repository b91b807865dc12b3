"""A picture to lie under a plan, made anew: JPEG, PNG, WebP, or one page of a PDF.

What is stored is written by us from the pixels alone (monitoring.rules.pixels), so that no place, time, camera or
hidden part of the file is kept (Exif, XMP, comments).
"""

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from django.utils.translation import gettext_lazy as _
from PIL import Image

from farms.errors import Invalid, TooLarge
from monitoring.rules import pdf_page
from monitoring.rules.pixels import LONGEST, QUALITY, Fault, Kind, check_bytes, claimed_by, file_of, pixels_of, told_as

SHORTEST = 16
PDF = b"%PDF-"  # ISO 32000-2, 7.5.2
MEDIA_TYPES = {"jpeg": "image/jpeg", "png": "image/png"}
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


REFUSALS = {
    Fault.EMPTY: PictureMissing,
    Fault.TOO_LARGE: PictureTooLarge,
    Fault.UNKNOWN: PictureKindUnknown,
    Fault.TOO_MANY_PIXELS: PictureTooManyPoints,
    Fault.BROKEN: PictureBroken,
}


def picture_from(content: bytes, *, page: int = 1) -> Picture:
    """The picture in a file's bytes, or that of one page of a PDF. Raises PictureRefused or TooLarge kinds."""
    with told_as(REFUSALS, "/picture"):
        check_bytes(content)
        found = _page_of(content, page) if content.startswith(PDF) else content
        claimed = claimed_by(found, tuple(Kind))
        if min(claimed.width, claimed.height) < SHORTEST:
            raise PictureTooSmall(pointer="/picture")
        return _written(pixels_of(found, claimed), drawing=claimed.kind == Kind.PNG)


def _written(image: Image.Image, *, drawing: bool) -> Picture:
    """Our own file of it: a photo as JPEG; a drawing as PNG where that is smaller, since its lines stay sharp."""
    found = {"jpeg": file_of(image, "JPEG", quality=QUALITY, progressive=True)}
    if drawing:
        found["png"] = file_of(image, "PNG")
    kind = min(found, key=lambda each: len(found[each]))
    return Picture(kind, found[kind], *image.size)


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
