"""What a photo may be, and how it is made anew: a plain JPEG of its pixels, with nothing of the camera or the place."""

from dataclasses import dataclass

from django.utils.translation import gettext_lazy as _
from PIL import Image

from farms.errors import Invalid, TooLarge
from monitoring.rules.pixels import QUALITY, Claimed, Fault, Kind, check_bytes, claimed_by, file_of, pixels_of, told_as

SMALL_SIDE, SMALL_QUALITY = 360, 72
# Brands of ISO/IEC 14496-12 files that hold HEIF pictures (ISO/IEC 23008-12), as phones make them.
HEIF = (b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1", b"avif", b"avis")
KINDS = (Kind.JPEG, Kind.PNG)


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


REFUSALS = {
    Fault.EMPTY: PhotoEmpty,
    Fault.TOO_LARGE: PhotoTooLarge,
    Fault.UNKNOWN: PhotoKindUnknown,
    Fault.TOO_MANY_PIXELS: PhotoTooManyPixels,
    Fault.BROKEN: PhotoBroken,
}


def made_anew(content: bytes) -> Picture:
    """The photo as it is kept. Raises PhotoTooLarge, PhotoTooManyPixels or an Invalid."""
    with told_as(REFUSALS, "/file"):
        check_bytes(content)
        if content[4:8] == b"ftyp" and content[8:12] in HEIF:
            raise PhotoIsHeic(pointer="/file")
        claimed = claimed_by(content, KINDS)
        _check(claimed)
        pixels = pixels_of(content, claimed)
    small = pixels.copy()
    small.thumbnail((SMALL_SIDE, SMALL_SIDE))
    return Picture(_jpeg(pixels, QUALITY), _jpeg(small, SMALL_QUALITY), *pixels.size)


def _check(claimed: Claimed) -> None:
    if claimed.moves:
        raise PhotoMoves(pointer="/file")
    if not claimed.width or not claimed.height:
        raise PhotoBroken(pointer="/file")
    if claimed.bits > 8 or claimed.components > 3:
        raise PhotoForPrint(pointer="/file")


def _jpeg(pixels: Image.Image, quality: int) -> bytes:
    return file_of(pixels, "JPEG", quality=quality, optimize=True)
