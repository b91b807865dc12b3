"""A region's week in paragraphs: the same on its page, in its bulletin and in the bulletin's mail."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from alerts.delivery.letter import Paragraph, paragraph, strong
from alerts.wording import regions as words
from alerts.wording.results import heading

if TYPE_CHECKING:
    from alerts.selectors.region_seasons import RegionSeason
    from alerts.wording.regions import RegionsWeek


def week_paragraphs(season: "RegionSeason") -> list[Paragraph]:
    """What is told of the newest week, method by method: the own normal first."""
    return [_of_method(season.now(method), method) for method in season.methods]


def _of_method(report: "RegionsWeek | None", method: str) -> Paragraph:
    if report is None or report.disclosure == "nothing":
        return paragraph(_("Not told."), heading=heading(method))
    if report.disclosure == "word":
        return paragraph(
            strong(words.word_phrase(report)),
            _("More is not told."),
            heading=heading(method),
            level=words.level_of(report),
        )
    lead = words.normal_phrase(report) or _("How far from their own normal: not told.")
    rest = [*words.normal_sentences(report), words.mean_phrase(report), words.shares_phrase(report)]
    return paragraph(strong(lead), *rest, heading=heading(method))


def rising_lines(season: "RegionSeason") -> Iterator[tuple[str, str]]:
    """What is rising where within the region: the method (with its housing, where it is split), and how fast."""
    for method in season.methods:
        yield heading(method), words.growth_words(season.now(method))
        for part in season.parts(method):
            yield f"{heading(method)}, {words.housing_phrase(part)}", words.growth_words(season.now(method, part))
