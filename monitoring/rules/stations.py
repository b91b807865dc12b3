"""How a station is named from outside: "Card 4", "tarjeta 4", "Trap 2", "leg count 1"."""

import re
import unicodedata

from monitoring.methods import CARD, LEG, TRAP

MOST_STATIONS = 32_767

# The farm's words in both languages, and what people shorten them to.
METHOD_WORDS = {
    **dict.fromkeys(("card", "cards", "spot card", "spot cards", "tarjeta", "tarjetas"), CARD.code),
    **dict.fromkeys(("trap", "traps", "jug trap", "jug traps", "trampa", "trampas"), TRAP.code),
    **dict.fromkeys(("leg", "legs", "leg count", "leg counts", "pata", "patas"), LEG.code),
    **dict.fromkeys(("conteo de patas", "conteo en patas", "conteo de moscas en las patas"), LEG.code),
}
LONGEST_NAME = 60
NAMED = re.compile(r"([^\W\d_][^\d#]*?) ?(?:#|no\.?|n°|nr\.?|num\.?)? ?(\d{1,5})")


def plain(text: str) -> str:
    """Lower case, without accents, single spaces: how words typed by people are compared."""
    bare = text
    if not text.isascii():
        bare = "".join(letter for letter in unicodedata.normalize("NFKD", text) if not unicodedata.combining(letter))
    return " ".join(bare.casefold().replace("_", " ").split())


def method_named(text: str) -> str | None:
    """The method that a word stands for, in English or Spanish; None for no word of ours."""
    return METHOD_WORDS.get(plain(text))


def station_key(text: str) -> tuple[str, int] | None:
    """The method and number that "Card 4" or "Tarjeta no. 4" names; None where it names none."""
    found = NAMED.fullmatch(plain(text)) if len(text) <= LONGEST_NAME else None
    method = METHOD_WORDS.get(found.group(1).strip()) if found else None
    number = int(found.group(2)) if found else 0
    return (method, number) if method and 1 <= number <= MOST_STATIONS else None
