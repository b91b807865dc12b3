"""The whole report from its ground: an outline's sections in their order, in one language."""

from django.utils.translation import gettext as _
from django.utils.translation import override

from farms.showing import Shown, showing, shown
from server.evidence.farm import evidence_of
from server.season_report.blocks import Report, ReportWords, Value
from server.season_report.ground import Ground
from server.season_report.outlines import OUTLINES


def season_report(ground: Ground, *, attach: bool = True) -> Report:
    """Told in the language that is wanted; days in the form that holds where it is asked for.

    `attach`: with the evidence that was asked for, for what can carry it.
    """
    days: Shown = shown()
    with override(ground.wanted.language), showing(days):
        return _made(ground, attach=attach)


def _made(ground: Ground, *, attach: bool) -> Report:
    outline, farm, wanted = OUTLINES[ground.wanted.outline], ground.farm, ground.wanted
    sections = [made for make in outline.sections if (made := make(ground)) is not None]
    facts: list[tuple[str, Value]] = [
        (_("Farm"), farm.name),
        (_("From"), wanted.since),
        (_("To"), wanted.until),
        (_("Made"), ground.on_the_clock(ground.now)),
        (_("By"), _("Flyround, from the farm's records with {group}").format(group=farm.group.name)),
        (_("Time zone"), farm.time_zone),
    ]
    return Report(
        title=str(outline.title),
        subtitle=farm.name,
        author=farm.group.name,
        language=wanted.language,
        opening=str(outline.opening),
        facts=facts,
        sections=sections,
        words=_words(ground),
        made_on=ground.today,
        time_zone=farm.time_zone,
        evidence=evidence_of(farm, ground.now) if attach and wanted.evidence else b"",
    )


def _words(ground: Ground) -> ReportWords:
    return ReportWords(
        contents=_("What stands where"),
        page=_("page"),
        attached=_("The farm's evidence: its chain and the signed days that cover it"),
        foot=_("{farm}: {outline}").format(farm=ground.farm.name, outline=OUTLINES[ground.wanted.outline].name),
    )
