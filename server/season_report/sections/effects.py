"""Did it work? What became of the counts after each work and application, and a season's kinds together.

The same effects in the same words as on the farm's pages.
"""

from collections.abc import Iterator, Sequence

from django.utils.translation import gettext as _

from alerts.wording.work_review import DeedInWords, KindInWords, review_in_words
from monitoring.selectors import WorkReview
from server.season_report.blocks import Block, Column, Points, Section, Subhead, Table, Value, Words
from server.season_report.ground import Ground
from server.season_report.told import first_up


def section(ground: Ground) -> Section:
    blocks: list[Block] = [
        Words(
            _("Each work and each spray, pour-on or bait is told by itself: the counts before and after it where it "
              "was done, set against the farm's other barns and lots or the region's published weeks. The range says "
              "what else fits the counts. “Can't tell” is told where it is so, with what would be needed.")
        ),
    ]  # fmt: skip
    told = [block for title, review in _seasons(ground) for block in _season(ground, title, review)]
    if not told:
        return Section("effects", _("Did it work?"), [Words(_("Nothing is noted as done in this time."))])
    return Section("effects", _("Did it work?"), [*blocks, *told, Subhead(_("How this is told")), Points(_how_told())])


def _seasons(ground: Ground) -> Iterator[tuple[str, WorkReview]]:
    """Season by season, then what was done outside of all."""
    for span in ground.spans:
        yield _("Season {year}").format(year=span.years), ground.review.among(span.holds)
    outside = ground.review.among(lambda day: not any(span.holds(day) for span in ground.spans))
    yield _("Outside the seasons"), outside


def _season(ground: Ground, title: str, review: WorkReview) -> Iterator[Block]:
    if review.kinds:
        kinds = review_in_words(review, ground.facilities)
        yield from (Subhead(title), _kinds(title, kinds), _deeds(title, kinds))


def _kinds(title: str, kinds: Sequence[KindInWords]) -> Table:
    columns = [
        Column(_("What"), 1.5), Column(_("How often"), 1.3), Column(_("What they did together"), 3),
        Column(_("From which counts"), 2),
    ]  # fmt: skip
    rows = [[kind.name, first_up(kind.often), kind.together, kind.told_from] for kind in kinds]
    return Table(_("Kind by kind, {season}").format(season=title), columns, rows)


def _deeds(title: str, kinds: Sequence[KindInWords]) -> Table:
    columns = [
        Column(_("What"), 1.5), Column(_("When"), 1.15), Column(_("Where"), 1.1),
        Column(_("What became of the counts"), 3.2), Column(_("From which counts, and what would tell more"), 2.7),
    ]  # fmt: skip
    rows = [_deed(kind, each) for kind in kinds for each in kind.deeds]
    return Table(_("One by one, {season}").format(season=title), columns, rows)


def _deed(kind: KindInWords, deed: DeedInWords) -> list[Value]:
    told_from = " ".join(filter(None, (deed.told_from, deed.needed)))
    return [kind.name, first_up(deed.when), first_up(deed.where), deed.since, told_from]


def _how_told() -> list[str]:
    return [
        _("Those that were set against another barn or lot, or against the region's published weeks, are taken "
          "together; those told before and after alone, and those that can't be told apart, are not."),
        _("The range of all of them says how far their mean may lie from what was seen. It takes into account that one "
          "clean-out is not like another. From two it is very wide. Works of one season share its weather, so a second "
          "season says more than a second work."),
        _("How long an effect lasts is not known from one before and after."),
    ]  # fmt: skip
