"""What becomes of a file that somebody lays under the plan: a picture of ours, or a sentence and nothing."""

import io
import random
import struct

import pytest
from PIL import Image

from farms.errors import FlyroundError
from monitoring.rules.pictures import Picture, picture_from
from monitoring.rules.pixels import LONGEST, MOST_BYTES, Kind, claimed_by
from tests.monitoring.pdf_files import huge_pdf, pdf
from tests.monitoring.pictures import PLANTED, claiming, flip, jpeg, sketch, with_everything, written

TURNED_LEFT = 8  # Exif 2.3, tag 0x0112: the row 0 is the left side, the column 0 the bottom


def opened(picture: Picture) -> Image.Image:
    image = Image.open(io.BytesIO(picture.content))
    assert (image.format, image.size) == (picture.kind.upper(), (picture.width, picture.height))
    return image


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_a_picture_is_made_anew_and_looks_the_same(form):
    image = opened(picture_from(written(sketch(), form))).convert("L")
    assert image.size == (300, 200)
    assert image.getpixel((20, 100)) < 30 and image.getpixel((280, 100)) > 225


def test_nothing_is_kept_of_where_when_and_by_whom_it_was_taken():
    told = with_everything()
    assert PLANTED in told
    kept = picture_from(told)
    image = opened(kept)
    assert not image.getexif() and not ({"exif", "xmp", "icc_profile", "comment"} & set(image.info))
    assert PLANTED not in kept.content and b"Exif" not in kept.content


def test_a_photo_that_was_held_sideways_stands_upright():
    image = opened(picture_from(with_everything(sketch(), turned=TURNED_LEFT))).convert("L")
    assert image.size == (200, 300)
    # What was on the left is below now.
    assert image.getpixel((100, 280)) < 30 and image.getpixel((100, 20)) > 225


def test_what_is_clear_is_white_and_grey_of_sixteen_bits_stays_grey():
    clear = opened(picture_from(written(Image.new("RGBA", (64, 64), (0, 0, 0, 0)), "PNG")))
    assert clear.convert("L").getpixel((5, 5)) == 255
    scanned = opened(picture_from(written(Image.new("I;16", (64, 64), 32_768), "PNG")))
    assert abs(scanned.convert("L").getpixel((5, 5)) - 128) <= 2


def test_a_large_picture_is_kept_smaller():
    kept = picture_from(written(sketch(4000, 1000), "JPEG"))
    assert (kept.width, kept.height) == (LONGEST, LONGEST // 4)


def test_the_page_of_a_pdf_that_is_asked_for_is_drawn():
    first, second = picture_from(pdf()), picture_from(pdf(), page=2)
    assert first.height == LONGEST and first.width == round(LONGEST * 420 / 595)
    assert second.width == LONGEST


def claiming_webp(chunk: bytes) -> bytes:
    """A WebP of a few bytes with this first chunk: RFC 9649, 2.3 and 2.4."""
    body = b"WEBP" + chunk[:4] + struct.pack("<I", len(chunk) - 4) + chunk[4:]
    return b"RIFF" + struct.pack("<I", len(body)) + body


# 16,000 points a side, as each kind of WebP says it: RFC 9649, 2.7 (less one, three bytes) and 3.4 (less one, 14 bits);
# RFC 6386, 9.1 (14 bits).
SIDE = 16_000
VAST = (
    b"VP8X" + bytes(4) + (SIDE - 1).to_bytes(3, "little") * 2,
    b"VP8L" + b"\x2f" + struct.pack("<I", (SIDE - 1) | (SIDE - 1) << 14),
    b"VP8 " + b"\x10\0\0" + b"\x9d\x01\x2a" + struct.pack("<HH", SIDE, SIDE),
)


@pytest.mark.parametrize("chunk", VAST, ids=["with a canvas", "without loss", "with loss"])
def test_a_webp_that_says_it_is_vast_is_believed_and_not_unpacked(chunk):
    with pytest.raises(FlyroundError) as refused:
        picture_from(claiming_webp(chunk))
    assert refused.value.code == "picture_too_many_points"


@pytest.mark.parametrize("how", [{"quality": 80}, {"lossless": True}, {"exif": b"Exif\0\0"}], ids=str)
def test_the_size_that_a_webp_says_is_that_of_its_picture(how):
    content = written(sketch(310, 170), "WEBP", **how)
    claimed = claimed_by(content, [Kind.WEBP])
    assert (claimed.width, claimed.height) == Image.open(io.BytesIO(content)).size == (310, 170)


HTML = b"<html><body onload=alert(1)>a plan</body></html>"
REFUSED = {
    "an empty file": (b"", 1, "picture_missing"),
    "a page of the web": (HTML, 1, "picture_kind_unknown"),
    "an archive": (b"PK\x03\x04" + bytes(200), 1, "picture_kind_unknown"),
    "a drawing with scripts": (b"<svg xmlns='http://www.w3.org/2000/svg'/>", 1, "picture_kind_unknown"),
    "a sound that begins like WebP": (b"RIFF\x00\x00\x00\x00WAVEfmt ", 1, "picture_kind_unknown"),
    "a page of the web behind a picture's beginning": (b"\x89PNG\r\n\x1a\n" + HTML, 1, "picture_broken"),
    "a beginning of a WebP": (b"RIFF\x00\x00\x00\x00WEBPVP8X", 1, "picture_broken"),
    "a photo that is cut off": (jpeg(400, 300)[:-700], 1, "picture_broken"),
    "a bomb": (claiming(60_000, 60_000), 1, "picture_too_many_points"),
    "a little too many points": (claiming(5_001, 5_000), 1, "picture_too_many_points"),
    "a line": (written(Image.new("RGB", (500, 3)), "PNG"), 1, "picture_too_small"),
    "too many bytes": (b"\xff\xd8\xff" + bytes(MOST_BYTES), 1, "picture_too_large"),
    "a PDF with a password": (pdf(password="secret"), 1, "pdf_locked"),
    "a broken PDF": (b"%PDF-1.7\n" + HTML, 1, "picture_broken"),
    "a page that isn't there": (pdf(), 3, "pdf_page_missing"),
    "a page as long as a field": (huge_pdf(), 1, "picture_broken"),
}  # fmt: skip


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_no_picture_is_refused_with_a_sentence(what):
    content, page, code = REFUSED[what]
    with pytest.raises(FlyroundError) as refused:
        picture_from(content, page=page)
    assert refused.value.code == code
    assert refused.value.errors[0].pointer == ("/page" if code == "pdf_page_missing" else "/picture")
    assert len(str(refused.value)) > 30 and str(refused.value).endswith(".")


def test_any_damage_of_a_webp_ends_in_a_picture_or_in_a_sentence():
    chance = random.Random(7)  # noqa: S311 - no secret
    files = [written(sketch(60, 40), "WEBP", **how) for how in ({"quality": 80}, {"lossless": True}, {"exif": b"Exif"})]
    cuts = [file[:length] for file in files for length in range(0, len(file), 7)]
    ends = {ends_in(content) for content in cuts + [flip(chance.choice(files), chance) for _each in range(400)]}
    assert "picture" in ends and "picture_broken" in ends
    assert ends <= {"picture"} | {code for _content, _page, code in REFUSED.values()}


def ends_in(content: bytes) -> str:
    try:
        picture_from(content)
    except FlyroundError as refused:
        return refused.code
    return "picture"
