"""Words as they are compared when somebody searches: without accents, small or capital alike."""

import unicodedata
from functools import lru_cache


@lru_cache(maxsize=10_000)
def folded(text: str) -> str:
    """A text without accents and without the difference of small and capital letters.

    >>> folded("Rancho Peñón")
    'rancho penon'
    """
    apart = unicodedata.normalize("NFKD", text)
    return "".join(letter for letter in apart if not unicodedata.combining(letter)).casefold()
