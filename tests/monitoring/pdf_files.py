"""PDFs as somebody may lay them under a plan, made here."""

import io

from pypdf import PdfWriter
from pypdf.generic import RectangleObject


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
