"""What is on a page of a PDF, in mm, read by PDFium: a program of its own."""

from typing import Any

import pypdfium2
import pypdfium2.raw
import zxingcpp

MM = 25.4 / 72  # a point is an inch / 72 (ISO 32000-1, 8.3.2.3; from memory)
DPI = 288


def opened(answer: Any) -> Any:
    assert answer.status_code == 200, answer.content.decode()[:2000]
    assert answer.headers["Content-Type"] == "application/pdf"
    return pypdfium2.PdfDocument(answer.content)


def size_of(page: Any) -> tuple[float, float]:
    return page.get_width() * MM, page.get_height() * MM


def words_on(page: Any) -> str:
    """In one line, without the places where a long word may break."""
    return " ".join(page.get_textpage().get_text_bounded().replace("\N{ZERO WIDTH SPACE}", "").split())


def letters_on(page: Any) -> list[tuple[float, float, float, float]]:
    """Left, bottom, right, top of every letter."""
    text = page.get_textpage()
    boxes = [text.get_charbox(number) for number in range(text.count_chars())]
    return [tuple(each * MM for each in box) for box in boxes if box[2] > box[0]]


def lines_on(page: Any, *, upright: bool) -> list[tuple[float, float, float]]:
    """Where each straight line lies, x of an upright one or y of a level one, and from where to where it goes."""
    found = []
    for left, bottom, right, top in _drawn(page):
        if (top - bottom > 2 > right - left) if upright else (right - left > 2 > top - bottom):
            across, along = ((left + right) / 2, (bottom, top)) if upright else ((bottom + top) / 2, (left, right))
            found.append((across, *along))
    return found


def boxes_on(page: Any) -> list[tuple[float, float]]:
    """How wide and how high all that is drawn is."""
    return [(right - left, top - bottom) for left, bottom, right, top in _drawn(page)]


def _drawn(page: Any) -> list[tuple[float, ...]]:
    paths = page.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_PATH])
    return [tuple(value * MM for value in each.get_bounds()) for each in paths]


def picture_of(page: Any) -> Any:
    return page.render(scale=DPI / 72).to_pil().convert("L")


def codes_on(page: Any) -> list[Any]:
    """The QR codes that a reader finds in the page's picture (ZXing-C++)."""
    return zxingcpp.read_barcodes(picture_of(page), formats=zxingcpp.BarcodeFormat.QRCode)
