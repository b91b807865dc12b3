"""The report on paper: a PDF by typst, tagged as PDF/UA-1, with the farm's evidence attached."""

from server.evidence.farm import ATTACHED
from server.reports.typesetter import PAPERS, set_pdf
from server.season_report.blocks import Report
from server.season_report.layout import laid_out

STANDARD = "ua-1"


def report_pdf(report: Report, paper: str) -> bytes:
    """The PDF on a paper of PAPERS."""
    pictures: dict[str, str] = {}
    given = laid_out(report, pictures)
    files: dict[str, str | bytes] = {**pictures}
    if report.evidence:
        files[ATTACHED] = report.evidence
    more = {"paper": PAPERS[paper], "evidence": ATTACHED if report.evidence else ""}
    return set_pdf("season.typ", given | more, files, STANDARD)
