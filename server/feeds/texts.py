"""Names in a feed: both formats forbid control characters, which a name may hold by a slip of the keyboard."""

import unicodedata

# Cc: control characters; Cs: halves of a character; Cn holds what is no character at all, as U+FFFE.
FORBIDDEN = {"Cc", "Cs", "Cn"}


def plain(text: str) -> str:
    """A text in one line that XML 1.0 and RFC 5545 both take; each forbidden character becomes a blank."""
    kept = (" " if unicodedata.category(each) in FORBIDDEN else each for each in text)
    return " ".join("".join(kept).split())
