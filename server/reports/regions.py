"""A region's bulletin, and its season for a group's meeting, each a PDF of one page. From stored reports only."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.http import HttpResponse
from django.utils.http import content_disposition_header
from django.utils.text import slugify
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from alerts.delivery.letter import Paragraph, paragraph
from alerts.delivery.region_bulletin import shown_method, small_print
from alerts.delivery.region_chart import normal_chart
from alerts.delivery.region_sentences import rising_lines, week_paragraphs
from alerts.wording import regions as words
from alerts.wording.numbers import amount, day_label, day_phrase
from alerts.wording.region_seasons import no_prize, participation_sentence, season_sentences
from alerts.wording.results import heading
from server.reports.letters import paragraph_json
from server.reports.typesetter import PAPERS, set_pdf, usual_paper

if TYPE_CHECKING:
    from alerts.selectors.region_seasons import RegionSeason
    from farms.licences import Licence
    from farms.models import Region
    from monitoring.models import RegionReport

WEEKS_IN_TABLE = 8
Row = list[str]


@dataclass(frozen=True)
class Part:
    """A part of the page: a heading; paragraphs, beside a picture (SVG, with its words) where there is one; a table
    with its head first.
    """

    heading: str = ""
    paragraphs: Sequence[Paragraph] = ()
    drawing: str = ""
    words: str = ""
    table: Sequence[Row] = ()


@dataclass(frozen=True)
class Sheet:
    """The whole page."""

    title: str
    heading: str
    lead: str
    parts: Sequence[Part]
    small_print: Sequence[str]


def bulletin_sheet(region: "Region", season: "RegionSeason", licence: "Licence") -> Sheet:
    """The newest week of a season, in the active language."""
    week = season.week
    if week is None:
        raise ValueError("A bulletin is of a week of which something was published.")
    of_week = _("week of {day}").format(day=day_phrase(week))
    drawing, told = _drawn(season, shown_method(season))
    rising = [paragraph(f"{growth}.", heading=what) for what, growth in rising_lines(season)]
    return Sheet(
        title=f"{region.name}, {of_week}",
        heading=region.name,
        lead=f"{of_week[:1].upper()}{of_week[1:]} · {region.group.name}",
        parts=[
            Part(_("This week: how far from their own normal"), week_paragraphs(season)),
            Part(_("What is rising where"), rising, drawing, told),
            Part(_("The last weeks"), (), table=weeks_table(season)),
            Part(_("How to read it"), [paragraph(words.why_own_normal(), *words.how_to_read()[:1])]),
        ],
        # In the small print, which has its place whatever stands above it.
        small_print=(" ".join(words.cautions()), *small_print(region, licence)),
    )


def season_sheet(
    region: "Region", season: "RegionSeason", year: int, rounds: float | None, licence: "Licence"
) -> Sheet:
    """A past season, in the active language; `rounds` is the share of the rounds due that came, None where not told."""
    parts = [Part(_("Taking part"), [paragraph(participation_sentence(rounds)), paragraph(no_prize())])]
    for method in season.methods:
        drawing, told = _drawn(season, method if season.tells_normal(method) else None)
        parts.append(Part(heading(method), [paragraph(*season_sentences(season.by_week(method)))], drawing, told))
    parts.append(Part(_("How to read it"), [paragraph(words.why_own_normal(), *words.how_to_read()[:1])]))
    title = _("{region}: the season of {year}").format(region=region.name, year=year)
    return Sheet(title, title, region.group.name, parts, small_print(region, licence))


def weeks_table(season: "RegionSeason") -> list[Row]:
    """The last weeks, newest first: times the own normal and the mean of each method; its head first."""
    head = [_("Week of")]
    for method in season.methods:
        head += [_("{what}: times own normal").format(what=heading(method)), _("mean")]
    weeks = list(reversed(season.weeks))[:WEEKS_IN_TABLE]
    rows = [[day_label(week)] for week in weeks]
    for method in season.methods:
        told = list(reversed(season.series(method)))[:WEEKS_IN_TABLE]
        for row, report in zip(rows, told, strict=True):
            row.extend(_cells(report))
    return [head, *rows]


def _cells(report: "RegionReport | None") -> Row:
    mark = str(words.NOT_TOLD)
    if report is None or report.disclosure == "nothing":
        return [mark, mark]
    normal = mark if report.normal is None else words.ratio(report.normal)
    return [normal, words.word_name(report.word) if report.mean is None else amount(report.mean)]


def _drawn(season: "RegionSeason", method: str | None) -> tuple[str, str]:
    if method is None:
        return "", ""
    svg, chart = normal_chart(season, method, "wide")
    return svg, f"{chart.title}. {chart.description}"


def sheet_pdf(sheet: Sheet, region: "Region", paper: str) -> bytes:
    """The page as PDF, on a paper of PAPERS."""
    given: dict[str, Any] = {"title": sheet.title, "author": region.group.name, "paper": PAPERS[paper]}
    given |= {"lang": get_language(), "heading": sheet.heading, "lead": sheet.lead}
    given |= {"sections": [_section(part, number) for number, part in enumerate(sheet.parts)]}
    given |= {"small_print": list(sheet.small_print)}
    pictures = {_picture(number): part.drawing for number, part in enumerate(sheet.parts) if part.drawing}
    return set_pdf("regions.typ", given, pictures)


def sheet_answer(sheet: Sheet, region: "Region", name: str, asked: str) -> HttpResponse:
    """The page as a file to print, on the paper that was asked for or is usual where the group works."""
    paper = asked if asked in PAPERS else usual_paper(region.group.time_zone)
    response = HttpResponse(sheet_pdf(sheet, region, paper), content_type="application/pdf")
    file = f"{slugify(region.name)[:60] or 'region'}-{name}.pdf"
    response.headers["Content-Disposition"] = str(content_disposition_header(as_attachment=True, filename=file))
    return response


def _section(part: Part, number: int) -> dict[str, Any]:
    head, rows = (part.table[0], list(part.table[1:])) if part.table else ([], [])
    return {
        "heading": part.heading,
        "paragraphs": [paragraph_json(each) for each in part.paragraphs],
        "picture": _picture(number) if part.drawing else "",
        "words": part.words,
        "table": {"head": head, "rows": rows},
    }


def _picture(number: int) -> str:
    return f"{number}.svg"
