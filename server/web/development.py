"""From egg to fly on a farm's page: the sentences of each kind, and how their days were got."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from alerts.wording.development import caution_sentence, flies_phrase, how_it_was_got, kind_sentences

if TYPE_CHECKING:
    from monitoring.selectors import FarmDevelopment


@dataclass(frozen=True)
class DevelopmentShown:
    """Each kind of fly with what is said of it, what to mind before a clean-out, and how it was got."""

    kinds: list[tuple[str, list[str]]]
    caution: str
    got: list[str]


def development_shown(told: "FarmDevelopment | None") -> DevelopmentShown | None:
    """What the page shows; None without temperatures."""
    if told is None or not told.is_known:
        return None
    kinds = [(flies_phrase(one.kind), kind_sentences(told, one)) for one in told.kinds]
    said = [(flies, sentences) for flies, sentences in kinds if sentences]
    return DevelopmentShown(said, caution_sentence(), how_it_was_got(told)) if said else None
