"""The QR code of a station's tag (ISO/IEC 18004): the address of its entry, black on white, as SVG."""

import segno

# White modules around the code, as the standard asks for (from memory).
QUIET = 4
# The standard has the mask chosen that scores best. A reader takes each of the eight alike, and trying all of them took
# eight times as long: 16 s for the tags of 500 stations.
MASK = 0


def tag_code(address: str) -> str:
    """The code of an address as a drawing, with its white edge; correction M, or higher where that costs no room."""
    matrix = segno.make(address, error="m", micro=False, mask=MASK).matrix
    side = len(matrix) + 2 * QUIET
    dark = "".join(_runs(row, number + QUIET) for number, row in enumerate(matrix))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{side}" height="{side}" viewBox="0 0 {side} {side}">'
        f'<rect width="{side}" height="{side}" fill="#fff"/><path d="{dark}" fill="#000"/></svg>'
    )


def _runs(row: bytearray, y: int) -> str:
    """The dark modules of a row, those side by side as one."""
    drawn, x = [], 0
    while x < len(row):
        wide = 1
        while x + wide < len(row) and row[x + wide] == row[x]:
            wide += 1
        if row[x]:
            drawn.append(f"M{x + QUIET} {y}h{wide}v1h-{wide}z")
        x += wide
    return "".join(drawn)
