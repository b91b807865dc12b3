"""Files that call themselves pictures of a yard: good ones, broken ones and hostile ones, made here."""

import io
import struct
import zlib

from PIL import Image
from pypdf import PdfWriter
from pypdf.generic import RectangleObject

# Exif of our own: the tags of TIFF 6.0 / Exif 2.3 that say who, when and where.
MAKER, TAKEN, GPS = 0x010F, 0x0132, 0x8825


def sketch(width: int = 300, height: int = 200) -> Image.Image:
    """A sheet whose left half is dark: what is up and what is left can be told."""
    image = Image.new("RGB", (width, height), "white")
    image.paste("black", (0, 0, width // 2, height))
    return image


def file_of(image: Image.Image, form: str, **how: object) -> bytes:
    kept = io.BytesIO()
    image.save(kept, form, **how)
    return kept.getvalue()


def photo(*, turned: int = 1) -> bytes:
    """A JPEG that says where, when and by whom it was taken, and how it was held."""
    exif = Image.Exif()
    exif[MAKER], exif[TAKEN], exif[0x0112] = "SECRETMAKER", "2026:05:30 10:00:00", turned
    exif.get_ifd(GPS).update({1: "N", 2: (43.0, 12.0, 5.0), 3: "W", 4: (89.0, 4.0, 1.0)})
    return file_of(sketch(), "JPEG", exif=exif, comment=b"SECRETPLACE")


def pdf(pages: int = 2, password: str = "") -> bytes:
    """Blank pages of A5, the last one across."""
    writer = PdfWriter()
    for number in range(1, pages + 1):
        writer.add_blank_page(*((595, 420) if number == pages else (420, 595)))
    if password:
        writer.encrypt(password)
    kept = io.BytesIO()
    writer.write(kept)
    return kept.getvalue()


def huge_pdf() -> bytes:
    writer = PdfWriter()
    writer.add_blank_page(420, 595).mediabox = RectangleObject((0, 0, 90_000, 10))
    kept = io.BytesIO()
    writer.write(kept)
    return kept.getvalue()


def bomb(width: int = 60_000, height: int = 60_000) -> bytes:
    """A PNG of a few bytes that claims thousands of millions of points (ISO/IEC 15948, 11.2.2: IHDR)."""
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    rows = zlib.compress(bytes(width))
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(*each) for each in ((b"IHDR", head), (b"IDAT", rows), (b"IEND", b"")))


def _chunk(name: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))
