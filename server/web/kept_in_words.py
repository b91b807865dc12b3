"""Parts of pages, written once of the same values for all who read them in one language and form of days."""

from collections.abc import Callable, Hashable
from typing import TypeVar

from django.utils.translation import get_language

from farms.kept import kept
from farms.showing import shown

Made = TypeVar("Made")


def kept_in_words(key: tuple[Hashable, ...], make: Callable[[], Made]) -> Made:
    """As `farms.kept.kept`. Nothing of the request may stand in it that isn't in the key:
    no token, no rights, no name of a reader.
    """
    return kept((*key, get_language(), shown()), make)
