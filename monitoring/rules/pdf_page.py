"""A page of a PDF as a picture: a program of its own, started by monitoring.rules.pictures for one file.

A PDF from anywhere may be broken, endless or hostile, and its library is not made for threads: a process that may use
so much memory and time, and no more, takes the harm. The PDF comes on stdin, a PNG leaves on stdout; what went wrong
is told by the exit code. `python pdf_page.py PAGE LONGEST`
"""

import resource
import sys
from io import BytesIO

import pypdfium2

LOCKED, BROKEN, NO_SUCH_PAGE, EMPTY_PAGE = 3, 4, 5, 6
PASSWORD_NEEDED = 4  # FPDF_ERR_PASSWORD
MOST_MEMORY = 1024 * 1024 * 1024
MOST_SECONDS = 20
# What a page may measure, in points of 1/72 inch (ISO 32000-2, annex C): smaller or larger is no page of a yard.
LEAST_POINTS, MOST_POINTS = 3, 14_400


def drawn(content: bytes, page: int, longest: int) -> "tuple[int, bytes]":
    """The exit code and the picture. With a page that isn't there, how many pages there are in its place."""
    try:
        document = pypdfium2.PdfDocument(content)
        if not 1 <= page <= len(document):
            return NO_SUCH_PAGE, str(len(document)).encode()
        wanted = document[page - 1]
        width, height = wanted.get_size()
        if not LEAST_POINTS <= min(width, height) <= max(width, height) <= MOST_POINTS:
            return EMPTY_PAGE, b""
        shown = wanted.render(scale=longest / max(width, height), may_draw_forms=False).to_pil()
    except pypdfium2.PdfiumError as error:
        return (LOCKED if getattr(error, "err_code", None) == PASSWORD_NEEDED else BROKEN), b""
    kept = BytesIO()
    shown.convert("RGB").save(kept, "PNG", compress_level=1)
    return 0, kept.getvalue()


def main() -> None:
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    code, written = drawn(sys.stdin.buffer.read(), int(sys.argv[1]), int(sys.argv[2]))
    sys.stdout.buffer.write(written)
    sys.stdout.buffer.flush()
    sys.exit(code)


if __name__ == "__main__":
    main()
