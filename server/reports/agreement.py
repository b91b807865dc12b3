"""The data agreement as a PDF, with lines to sign."""

from dataclasses import asdict
from typing import Any

from django.http import HttpResponse
from django.utils.formats import date_format
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.utils.translation import override

from farms.agreement import Agreement
from server.agreement import text_of
from server.reports.typesetter import PAPERS, set_pdf


def agreement_pdf(agreement: Agreement, language: str, paper: str) -> bytes:
    """The agreement in a language, on paper of a kind (a key of PAPERS)."""
    text = text_of(agreement, language)
    with override(language):
        given = {
            "title": text.title,
            "author": agreement.farm.group.name,
            "lang": language,
            "paper": PAPERS[paper],
            "sections": [asdict(section) for section in text.sections],
            **_words(agreement),
        }
    return set_pdf("agreement.typ", given)


def agreement_answer(agreement: Agreement, language: str, paper: str) -> HttpResponse:
    """The agreement as a file to print."""
    response = HttpResponse(agreement_pdf(agreement, language, paper), content_type="application/pdf")
    name = content_disposition_header(as_attachment=True, filename=f"agreement-{agreement.version}-{language}.pdf")
    response.headers["Content-Disposition"] = str(name)
    return response


def _words(agreement: Agreement) -> dict[str, Any]:
    """What stands around the text, in the active language."""
    farm, group = agreement.farm.name, agreement.farm.group.name
    version = _("Version {version} of {day}").format(
        version=agreement.version, day=date_format(agreement.made_on, "DATE_FORMAT")
    )
    lead, since = f"{farm} · {group} · {version}", agreement.terms.valid_from
    if since is not None:
        terms = _("terms of {day}").format(day=date_format(since, "DATE_FORMAT"))
        lead = f"{lead} · {terms}"
    return {
        "lead": lead,
        "foot": f"{farm} · {version}",
        "signing": _("Signed"),
        "parties": [_("For the farm {farm}").format(farm=farm), _("For the group {group}").format(group=group)],
        "note": _(
            "Photograph or scan this page, and bring it in under “Data agreement” in the farm's settings; the adviser "
            "may do that for the farm."
        ),
        "lines": [_("Name in capital letters"), _("Place and day"), _("Signature")],
    }
