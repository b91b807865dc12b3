"""What becomes of a file that somebody lays under the plan: a picture of ours, or a sentence and nothing."""

import io

import pytest
from PIL import Image

from farms.errors import FlyroundError
from monitoring.rules.pictures import LONGEST, MOST_BYTES, Picture, picture_from
from tests.monitoring.plan_files import bomb, file_of, huge_pdf, pdf, photo, sketch

TURNED_LEFT = 8  # Exif 2.3, tag 0x0112: the row 0 is the left side, the column 0 the bottom


def opened(picture: Picture) -> Image.Image:
    image = Image.open(io.BytesIO(picture.content))
    assert (image.format, image.size) == (picture.kind.upper(), (picture.width, picture.height))
    return image


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_a_picture_is_made_anew_and_looks_the_same(form):
    image = opened(picture_from(file_of(sketch(), form))).convert("L")
    assert image.size == (300, 200)
    assert image.getpixel((20, 100)) < 30 and image.getpixel((280, 100)) > 225


def test_nothing_is_kept_of_where_when_and_by_whom_it_was_taken():
    told = photo()
    assert b"SECRETMAKER" in told and b"SECRETPLACE" in told
    kept = picture_from(told)
    image = opened(kept)
    assert not image.getexif() and not ({"exif", "xmp", "icc_profile", "comment"} & set(image.info))
    assert b"SECRET" not in kept.content and b"Exif" not in kept.content


def test_a_photo_that_was_held_sideways_stands_upright():
    image = opened(picture_from(photo(turned=TURNED_LEFT))).convert("L")
    assert image.size == (200, 300)
    # What was on the left is below now.
    assert image.getpixel((100, 280)) < 30 and image.getpixel((100, 20)) > 225


def test_what_is_clear_is_white_and_grey_of_sixteen_bits_stays_grey():
    clear = opened(picture_from(file_of(Image.new("RGBA", (64, 64), (0, 0, 0, 0)), "PNG")))
    assert clear.convert("L").getpixel((5, 5)) == 255
    scanned = opened(picture_from(file_of(Image.new("I;16", (64, 64), 32_768), "PNG")))
    assert abs(scanned.convert("L").getpixel((5, 5)) - 128) <= 2


def test_a_large_picture_is_kept_smaller():
    kept = picture_from(file_of(sketch(4000, 1000), "JPEG"))
    assert (kept.width, kept.height) == (LONGEST, LONGEST // 4)


def test_the_page_of_a_pdf_that_is_asked_for_is_drawn():
    first, second = picture_from(pdf()), picture_from(pdf(), page=2)
    assert first.height == LONGEST and first.width == round(LONGEST * 420 / 595)
    assert second.width == LONGEST


HTML = b"<html><body onload=alert(1)>a plan</body></html>"
REFUSED = {
    "an empty file": (b"", 1, "picture_missing"),
    "a page of the web": (HTML, 1, "picture_kind_unknown"),
    "an archive": (b"PK\x03\x04" + bytes(200), 1, "picture_kind_unknown"),
    "a drawing with scripts": (b"<svg xmlns='http://www.w3.org/2000/svg'/>", 1, "picture_kind_unknown"),
    "a sound that begins like WebP": (b"RIFF\x00\x00\x00\x00WAVEfmt ", 1, "picture_kind_unknown"),
    "a page of the web behind a picture's beginning": (b"\x89PNG\r\n\x1a\n" + HTML, 1, "picture_broken"),
    "a photo that is cut off": (photo()[:900], 1, "picture_broken"),
    "a bomb": (bomb(), 1, "picture_too_many_points"),
    "a little too many points": (bomb(5001, 5000), 1, "picture_too_many_points"),
    "a line": (file_of(Image.new("RGB", (500, 3)), "PNG"), 1, "picture_too_small"),
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
