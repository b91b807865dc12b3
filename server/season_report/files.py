"""The report as a file: paper, a page to keep, a workbook; and the note in the farm's log that it was taken."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.utils.http import content_disposition_header
from django.utils.text import slugify
from django.utils.translation import gettext_lazy as _

from farms.ledger import Actor
from farms.models.log import LogKind
from farms.services import note_in_log
from server.season_report.blocks import Report
from server.season_report.ground import Ground
from server.season_report.page import report_page
from server.season_report.paper import report_pdf
from server.season_report.report import season_report
from server.season_report.sheet import report_sheet


@dataclass(frozen=True)
class Form:
    """A format: its ending, its media type, how people call it, what writes it (on paper of a kind), and whether
    it carries an attachment.
    """

    ending: str
    media_type: str
    name: Any
    write: Callable[[Report, str], bytes]
    attaches: bool = False


FORMS: Mapping[str, Form] = {
    form.ending: form
    for form in (
        Form("pdf", "application/pdf", _("PDF, for paper"), report_pdf, attaches=True),
        Form("html", "text/html; charset=utf-8", _("Page to keep (HTML)"), lambda report, _paper: report_page(report)),
        Form(
            "xlsx", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", _("Spreadsheet (XLSX)"),
            lambda report, _paper: report_sheet(report),
        ),
    )
}  # fmt: skip


def report_file(ground: Ground, form: Form, actor: Actor) -> HttpResponse:
    """The file; the log notes what was taken out, in which outline, and whether names or complaints are
    in it.
    """
    wanted = ground.wanted
    about = f"report.{form.ending} {wanted.outline} {wanted.since} {wanted.until}"
    about += " names" if wanted.names else ""
    about += f" complaints {len(wanted.complaints)}" if wanted.complaints else ""
    note_in_log(farm=ground.farm, kind=LogKind.EXPORT, actor=actor, now=ground.now, about=about)
    response = HttpResponse(
        form.write(season_report(ground, attach=form.attaches), wanted.paper), content_type=form.media_type
    )
    name = f"{slugify(ground.farm.name)[:60] or 'farm'}-{wanted.outline}-{wanted.since}-{wanted.until}.{form.ending}"
    disposition = content_disposition_header(as_attachment=True, filename=name)
    response.headers["Content-Disposition"] = str(disposition)
    response.headers["Cache-Control"] = "private, no-store"
    return response
