"""Where cards lie on a sheet of paper: as many as fit, edge to edge, with room around them for the cut marks.

Lengths in mm. An inch has 25.4 (exact). A4 and A7 are ISO 216's, Letter is ANSI/ASME Y14.1's size A; ID-1, the size of
a bank card, is 85.60 x 53.98 mm by ISO/IEC 7810 (both standards from memory).
"""

from dataclasses import dataclass

INCH = 25.4
# Between paper's edge and the cards; a mark of 5 mm, 2 mm off the cards, and what printers leave white fit into it.
MARGIN = 11.0
PAPER_SIZES = {"letter": (8.5 * INCH, 11 * INCH), "a4": (210.0, 297.0)}


@dataclass(frozen=True)
class Size:
    """A card as it is read, wider than high."""

    width: float
    height: float


SIZES = {
    "3x5in": Size(5 * INCH, 3 * INCH),
    "76x127mm": Size(127.0, 76.0),
    "id1": Size(85.60, 53.98),
    "a7": Size(105.0, 74.0),
}


@dataclass(frozen=True)
class Layout:
    """A page of cards: its size, how many lie in a row and a column, and where the first one begins."""

    width: float
    height: float
    columns: int
    rows: int
    left: float
    top: float

    @property
    def cards(self) -> int:
        return self.columns * self.rows


def single(size: Size) -> Layout:
    """The page is the card, for a printer of labels or a tray for cards."""
    return Layout(size.width, size.height, 1, 1, 0.0, 0.0)


def many(size: Size, paper: str) -> Layout:
    """Cards edge to edge in the middle of a sheet, turned as it holds more of them."""
    short, long = PAPER_SIZES[paper]
    return max((_laid(size, short, long), _laid(size, long, short)), key=lambda layout: layout.cards)


def _laid(size: Size, width: float, height: float) -> Layout:
    columns = int((width - 2 * MARGIN) // size.width)
    rows = int((height - 2 * MARGIN) // size.height)
    left, top = (width - columns * size.width) / 2, (height - rows * size.height) / 2
    return Layout(width, height, columns, rows, left, top)
