"""Text that a spreadsheet would take for a formula, made harmless: OWASP, "CSV Injection".

A cell that begins with = + - @, a tab or a line's end gets an apostrophe in front, also where blanks, a byte-order mark
or other marks that nobody sees come before. Wide and small forms of these signs count as they do. Only cells of text
are looked at: a number stays a number.
"""

import re

UNSEEN = r"\u0001-\u0020\u007f-\u00a0\u00ad\u034f\u061c\u1680\u180e\u2000-\u200f\u2028-\u202f\u205f-\u206f\u3000\ufeff"
STARTS = r"=+@\t\r\n\uff1d\uff0b\uff0d\uff20\ufe62\ufe63\ufe66\ufe6b\u2212-"
# Read alike by Python and by PostgreSQL, which looks at the cells of a CSV file itself; a test compares the two.
PATTERN = f"^[{UNSEEN}]*[{STARTS}]"
_FORMULA = re.compile(PATTERN)


def harmless(text: str) -> str:
    """The text, with an apostrophe in front where it looks like a formula.

    >>> harmless("=1+1"), harmless("Pen 4")
    ("'=1+1", 'Pen 4')
    """
    return f"'{text}" if _FORMULA.match(text) else text
