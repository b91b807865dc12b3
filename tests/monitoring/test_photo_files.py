"""What becomes of a photo's file: a plain JPEG of its pixels, or a sentence that says what to do."""

import io
import itertools
import random
import zipfile

import pytest
from PIL import Image

from farms.errors import FlyroundError
from monitoring.rules.photo import made_anew
from monitoring.rules.pixels import MOST_BYTES
from tests.monitoring.pictures import (
    BLUE,
    GREEN,
    PLANTED,
    RED,
    WHITE,
    claiming,
    flip,
    jpeg,
    png,
    quarters,
    segment,
    segments,
    text_bomb,
    with_everything,
    with_texts,
    written,
)

# What Pillow says of broken words of a camera, and then passes over.
pytestmark = pytest.mark.filterwarnings("ignore::UserWarning:PIL")
# ITU-T T.81, table B.1: tables, frame, scan; and JFIF's own segment, without which a viewer may guess the colours.
DQT, SOF0, DHT, SOS, APP0 = 0xDB, 0xC0, 0xC4, 0xDA, 0xE0


def opened(content: bytes) -> Image.Image:
    return Image.open(io.BytesIO(content))


def corners(content: bytes) -> list[tuple[int, ...]]:
    """The colours top left, top right, bottom left, bottom right, to the nearest of the four."""
    picture = opened(content).convert("RGB")
    right, down = picture.width - 5, picture.height - 5
    found = [picture.getpixel(place) for place in ((4, 4), (right, 4), (4, down), (right, down))]
    known = (RED, GREEN, BLUE, WHITE)
    return [min(known, key=lambda each: sum(abs(a - b) for a, b in zip(each, pixel, strict=True))) for pixel in found]


@pytest.mark.parametrize("content", [with_everything(), with_texts()], ids=["jpeg", "png"])
def test_nothing_but_pixels_is_left_of_what_a_camera_writes(content):
    assert PLANTED in content
    made = made_anew(content)
    for kept in (made.jpeg, made.small):
        found = segments(kept)
        assert {marker for marker, _content in found} == {APP0, DQT, SOF0, DHT, SOS}
        # JFIF without a thumbnail: ITU-T T.871, 10.1.
        assert [said for marker, said in found if marker == APP0] == [b"JFIF\0\x01\x01\0\0\x01\0\x01\0\0"]
        assert PLANTED not in kept and kept.endswith(b"\xff\xd9") and kept.count(b"\xff\xd8") == 1
        picture = opened(kept)
        assert not picture.getexif() and set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert corners(made.jpeg) == [RED, GREEN, BLUE, WHITE]


# What stands top left, top right, bottom left, bottom right once the picture is upright: EXIF (CIPA DC-008), tag 274,
# says where the 0th row and column lie: 6 is "row right, column top", so that the picture is turned clockwise.
UPRIGHT = {
    1: [RED, GREEN, BLUE, WHITE], 2: [GREEN, RED, WHITE, BLUE], 3: [WHITE, BLUE, GREEN, RED],
    4: [BLUE, WHITE, RED, GREEN], 5: [RED, BLUE, GREEN, WHITE], 6: [BLUE, RED, WHITE, GREEN],
    7: [WHITE, GREEN, BLUE, RED], 8: [GREEN, WHITE, RED, BLUE], 9: [RED, GREEN, BLUE, WHITE],
}  # fmt: skip


@pytest.mark.parametrize("said", UPRIGHT)
def test_a_photo_stands_upright_as_its_camera_says(said):
    made = made_anew(with_everything(turned=said))
    assert corners(made.jpeg) == corners(made.small) == UPRIGHT[said]
    assert (made.width, made.height) == ((48, 64) if said in (5, 6, 7, 8) else (64, 48)) == opened(made.jpeg).size


def test_words_of_the_camera_that_are_broken_are_passed_over():
    made = made_anew(jpeg(exif=b"Exif\0\0MM\0*\0\0\0\x08\xff\xff" + b"\x01\x12" * 9))
    assert corners(made.jpeg) == [RED, GREEN, BLUE, WHITE]


def test_a_large_photo_is_made_smaller_and_a_small_one_stays():
    made = made_anew(jpeg(4000, 3000))
    assert (made.width, made.height) == (2000, 1500)
    assert max(opened(made.small).size) == 360
    tall = made_anew(png(quarters(30, 4000)))
    assert (tall.width, tall.height) == (15, 2000)
    small = made_anew(jpeg(40, 30))
    assert (small.width, small.height) == (40, 30)


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGBA"])
def test_every_usual_picture_is_taken_and_what_is_clear_becomes_white(mode):
    picture = quarters()
    if mode in ("LA", "RGBA"):
        picture.putalpha(Image.new("L", picture.size, 0))
    made = made_anew(png(picture.convert(mode)))
    assert opened(made.jpeg).mode == "RGB"
    if mode in ("LA", "RGBA"):
        assert corners(made.jpeg) == [WHITE] * 4


def moving() -> bytes:
    return png(save_all=True, append_images=[Image.new("RGB", (64, 48))])


def zipped() -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("card.jpg", jpeg())
    return file.getvalue()


def noise(side: int) -> Image.Image:
    return Image.frombytes("RGB", (side, side), random.Random(1).randbytes(3 * side * side))  # noqa: S311 - no secret


HEIC = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + b"\0" * 100
# A frame that says 10 by 10, and a second one that says 60,000 by 60,000.
FRAMES = (b"\x08\0\x0a\0\x0a\x01\x01\x11\0", b"\x08\xea\x60\xea\x60\x01\x01\x11\0")
TWO_FRAMES = b"\xff\xd8" + b"".join(segment(0xC0, frame) for frame in FRAMES)
REFUSED = {
    "nothing at all": (b"", "photo_empty"),
    "more than 10 MB": (jpeg() + b"\0" * MOST_BYTES, "photo_too_large"),
    "a picture that claims 4 gigapixels": (claiming(65_000, 65_000), "photo_too_many_pixels"),
    "just over 25 megapixels": (claiming(5_001, 5_000), "photo_too_many_pixels"),
    "two sizes": (TWO_FRAMES, "photo_too_many_pixels"),
    "no pixels": (claiming(0, 40), "photo_broken"),
    "a ZIP": (zipped(), "photo_kind_unknown"),
    "HTML": (b"<!doctype html><script>alert(1)</script>", "photo_kind_unknown"),
    "HTML behind the first bytes of a JPEG": (b"\xff\xd8\xff<script>alert(1)</script>", "photo_broken"),
    "SVG": (b'<svg xmlns="http://www.w3.org/2000/svg"/>', "photo_kind_unknown"),
    "GIF": (written(quarters(), "GIF"), "photo_kind_unknown"),
    "WebP": (written(quarters(), "WEBP"), "photo_kind_unknown"),
    "TIFF": (written(quarters(), "TIFF"), "photo_kind_unknown"),
    "PDF": (b"%PDF-1.7\n", "photo_kind_unknown"),
    "HEIC": (HEIC, "photo_is_heic"),
    "AVIF": (HEIC.replace(b"heic", b"avif"), "photo_is_heic"),
    "moving PNG": (moving(), "photo_moves"),
    "CMYK": (written(quarters().convert("CMYK"), "JPEG"), "photo_for_print"),
    "16 bits of grey": (png(Image.new("I;16", (20, 20))), "photo_for_print"),
    "16 bits a colour": (claiming(20, 20).replace(b"\x08\x02", b"\x10\x02", 1), "photo_for_print"),
    "12 bits, in a JPEG": (jpeg().replace(b"\xff\xc0\0\x11\x08", b"\xff\xc0\0\x11\x0c"), "photo_for_print"),
    "a text that unpacks to 80 MB": (text_bomb(), "photo_broken"),
    "a cut-off JPEG": (jpeg(400, 300)[:-700], "photo_broken"),
    "a cut-off PNG": (png(noise(60))[:-700], "photo_broken"),
    "a JPEG without a frame": (b"\xff\xd8\xff\xe0\0\x04ab\xff\xd9", "photo_broken"),
    "only a beginning": (b"\x89PNG\r\n\x1a\n", "photo_broken"),
    "a thousand scans": (jpeg()[:-2] + b"\xff\xda\0\x02" * 1000, "photo_broken"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_photo_is_refused_with_a_sentence_that_says_what_to_do(name):
    content, code = REFUSED[name]
    with pytest.raises(FlyroundError) as refused:
        made_anew(content)
    assert refused.value.code == code and refused.value.errors[0].pointer == "/file"
    said = str(refused.value)
    assert said.endswith(".") and any(word in said for word in ("Choose", "choose", "Take", "take"))


def test_exactly_25_megapixels_are_taken_before_anything_is_decoded():
    with pytest.raises(FlyroundError) as refused:
        made_anew(claiming(5_000, 5_000))
    assert refused.value.code == "photo_broken"  # looked into, and found empty


def test_any_damage_ends_in_a_picture_or_in_a_sentence():
    """Every cut of small files and a thousand flipped bytes: no other error, and no memory beyond the picture's own."""
    chance = random.Random(7)  # noqa: S311 - no secret
    files = [with_everything(), with_texts(), jpeg(progressive=True), png(quarters().convert("P"))]
    cuts = (file[:length] for file in files for length in range(0, len(file), 61))
    flipped = (flip(chance.choice(files), chance) for _each in range(1000))
    ends = {ends_in(content) for content in itertools.chain(cuts, flipped)}
    assert "picture" in ends and "photo_broken" in ends
    assert ends <= {"picture"} | {code for _content, code in REFUSED.values()}


def ends_in(content: bytes) -> str:
    try:
        made = made_anew(content)
    except FlyroundError as refused:
        return refused.code
    assert segments(made.jpeg) and PLANTED not in made.jpeg
    return "picture"
