"""Pictures made for these tests, all invented: good ones, broken ones and hostile ones; turning one shows."""

import io
import random
import struct
import zlib
from typing import Any

from PIL import Image, PngImagePlugin

PLANTED = b"planted-secret"
RED, GREEN, BLUE, WHITE = (220, 30, 30), (30, 180, 30), (30, 30, 220), (250, 250, 250)


def quarters(width: int = 64, height: int = 48) -> Image.Image:
    """Red top left, green top right, blue bottom left, white bottom right."""
    picture = Image.new("RGB", (width, height), RED)
    for colour, place in ((GREEN, (1, 0)), (BLUE, (0, 1)), (WHITE, (1, 1))):
        picture.paste(colour, (place[0] * width // 2, place[1] * height // 2, width, height) if place != (0, 1)
                      else (0, height // 2, width // 2, height))  # fmt: skip
    return picture


def sketch(width: int = 300, height: int = 200) -> Image.Image:
    """A sheet whose left half is dark: what is up and what is left can be told."""
    image = Image.new("RGB", (width, height), "white")
    image.paste("black", (0, 0, width // 2, height))
    return image


def written(picture: Image.Image, form: str, **how: Any) -> bytes:
    file = io.BytesIO()
    picture.save(file, form, **how)
    return file.getvalue()


def jpeg(width: int = 64, height: int = 48, **how: Any) -> bytes:
    return written(quarters(width, height), "JPEG", quality=90, **how)


def png(picture: Image.Image | None = None, **how: Any) -> bytes:
    return written(picture or quarters(), "PNG", **how)


def with_everything(picture: Image.Image | None = None, *, turned: int = 1) -> bytes:
    """A JPEG with what a camera writes: EXIF with the place, XMP, a profile, a comment, IPTC, a second picture."""
    exif = Image.Exif()
    # The tags of TIFF 6.0 and EXIF (CIPA DC-008) that say by whom, when, how it was held, and where.
    exif[0x010F], exif[0x0132], exif[0x0112] = PLANTED.decode(), "2026:06:01 07:40:00", turned
    exif.get_ifd(0x8825).update({1: "N", 2: (42.0, 30.0, 0.0), 3: "W", 4: (89.0, 30.0, 0.0)})
    exif.get_ifd(0x8769)[0x927C] = PLANTED
    more = {"exif": exif, "comment": PLANTED, "icc_profile": PLANTED * 9}
    xmp = b"<x:xmpmeta>" + PLANTED + b"</x:xmpmeta>"
    plain = written(picture or quarters(), "JPEG", quality=90, xmp=xmp, **more)
    # IPTC in Photoshop's segment (APP13), and a whole picture behind the end.
    return plain[:2] + segment(0xED, b"Photoshop 3.0\0" + PLANTED) + plain[2:] + jpeg() + PLANTED


def segment(marker: int, content: bytes) -> bytes:
    """A marker segment of a JPEG: ITU-T T.81, B.1.1.4."""
    return bytes([0xFF, marker]) + struct.pack(">H", len(content) + 2) + content


def segments(content: bytes) -> list[tuple[int, bytes]]:
    """The marker segments of a JPEG up to its first scan, read as ITU-T T.81, B.1.1 says."""
    assert content[:2] == b"\xff\xd8"
    place, found = 2, []
    while True:
        marker, (length,) = content[place + 1], struct.unpack_from(">H", content, place + 2)
        assert content[place] == 0xFF
        found.append((marker, content[place + 4 : place + 2 + length]))
        place += 2 + length
        if marker == 0xDA:
            return found


def claiming(width: int, height: int) -> bytes:
    """A PNG of a few bytes that claims to be so large; its checksums are right."""
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(b"\0" * 1000))
        + chunk(b"IEND", b"")
    )


def chunk(name: bytes, content: bytes) -> bytes:
    """A chunk of a PNG: ISO/IEC 15948, 5.3."""
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))


def with_texts() -> bytes:
    texts = PngImagePlugin.PngInfo()
    texts.add_text("Comment", PLANTED.decode())
    texts.add_itxt("XML:com.adobe.xmp", PLANTED.decode())
    texts.add_text("Location", PLANTED.decode(), zip=True)
    return png(pnginfo=texts, icc_profile=PLANTED * 9)


def text_bomb() -> bytes:
    """A compressed text that unpacks to 80 MB."""
    plain = png()
    bomb = chunk(b"zTXt", b"Comment\0\0" + zlib.compress(b"\0" * 80_000_000, 9))
    return plain[:33] + bomb + plain[33:]


def flip(content: bytes, chance: random.Random) -> bytes:
    """The file with one to four of its bytes changed."""
    damaged = bytearray(content)
    for _each in range(chance.randint(1, 4)):
        damaged[chance.randrange(len(damaged))] = chance.randrange(256)
    return bytes(damaged)
