"""The data agreement of a farm: read it, accept it, print it, bring it in signed, read what was accepted before."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from farms.access import Need, one_of
from farms.agreement import VERSIONS, acceptances_of, agreement_accepted, agreement_of, papers_of, standing_of
from farms.errors import FlyroundError
from farms.services import (
    AgreementAccepted,
    PaperSigned,
    Yes,
    accept_agreement,
    erase_signed_paper,
    keep_signed_paper,
)
from farms.services.agreement import MOST_BYTES
from server.agreement import language_here, text_of
from server.reports.agreement import agreement_answer
from server.reports.typesetter import PAPERS, usual_paper
from server.web.choices import choices_of
from server.web.doors import Visit, farm_page
from server.web.forms.agreement import AcceptForm, PaperForm
from server.web.forms.refusals import show_refusal

MEDIA_TYPES = {"pdf": "application/pdf", "jpeg": "image/jpeg", "png": "image/png"}
ENDINGS = {"pdf": "pdf", "jpeg": "jpg", "png": "png"}
LANGUAGES = dict(choices_of("farms.Acceptance", "language"))


@farm_page(Need.MANAGE)
@require_safe
def agreement(request: HttpRequest, visit: Visit) -> HttpResponse:
    """For the farm's owners, who accept it, and its advisers, who may bring in what was signed on paper."""
    return render(request, "web/agreement.html", _context(visit, _paper_form(visit)))


@farm_page(Need.OWN)
@require_POST
def accept(request: HttpRequest, visit: Visit) -> HttpResponse:
    form = AcceptForm(request.POST)
    typed = form.cleaned_data if form.is_valid() else {"version": "", "edition": "-"}
    try:
        yes = Yes(language=language_here(), **typed)
        accept_agreement(farm=visit.farm, yes=yes, by=request.user, now=visit.now)  # type: ignore[arg-type]
        messages.success(request, _("Accepted for the farm. It is kept here, as you read it."))
    except AgreementAccepted:  # pressed twice
        messages.success(request, _("Accepted for the farm. It is kept here, as you read it."))
    except FlyroundError as refusal:
        messages.error(request, str(refusal))
    return redirect("agreement", farm_id=visit.farm.id)


@farm_page(Need.MANAGE)
@require_POST
def bring_paper(request: HttpRequest, visit: Visit) -> HttpResponse:
    form = _paper_form(visit, request.POST, request.FILES)
    if form.is_valid() and _kept(request, visit, form):
        messages.success(request, _("The signed agreement is kept: the farm has accepted it."))
        return redirect("agreement", farm_id=visit.farm.id)
    return render(request, "web/agreement.html", _context(visit, form), status=422)


@farm_page(Need.MANAGE)
@require_safe
def print_agreement(request: HttpRequest, visit: Visit) -> HttpResponse:
    """What holds now, as a PDF with lines to sign."""
    asked, paper = request.GET.get("language", ""), request.GET.get("paper", "")
    language = asked if asked in LANGUAGES else language_here()
    paper = paper if paper in PAPERS else usual_paper(visit.farm.time_zone)
    return agreement_answer(agreement_of(visit.farm, visit.today), language, paper)


@farm_page(Need.MANAGE)
@require_safe
def accepted_before(request: HttpRequest, visit: Visit, acceptance_id: UUID) -> HttpResponse:
    """What was accepted, as it was read then."""
    accepted = one_of(acceptances_of(visit.farm), acceptance_id)
    text = text_of(agreement_accepted(accepted), accepted.language)
    return render(request, "web/agreement_accepted.html", {"visit": visit, "accepted": accepted, "text": text})


@farm_page(Need.MANAGE)
@require_safe
def scan(request: HttpRequest, visit: Visit, signed_paper_id: UUID) -> HttpResponse:
    """The scan of a signed paper, to be saved and never to be shown as a page of ours."""
    paper = one_of(papers_of(visit.farm), signed_paper_id)
    response = HttpResponse(bytes(paper.scan), content_type=MEDIA_TYPES[paper.kind])
    name = f"agreement-signed-{paper.acceptance.signed_on}.{ENDINGS[paper.kind]}"
    response.headers["Content-Disposition"] = str(content_disposition_header(as_attachment=True, filename=name))
    response.headers["X-Content-Type-Options"] = "nosniff"
    return response


@farm_page(Need.OWN)
@require_POST
def erase_scan(request: HttpRequest, visit: Visit, signed_paper_id: UUID) -> HttpResponse:
    paper = one_of(papers_of(visit.farm), signed_paper_id)
    erase_signed_paper(paper=paper, by=request.user, now=visit.now)  # type: ignore[arg-type]
    messages.success(request, _("The scan and the signer's name are erased. That the farm accepted stays."))
    return redirect("agreement", farm_id=visit.farm.id)


def _paper_form(visit: Visit, *sent: Any) -> PaperForm:
    usual = {"signed_on": visit.today, "language": visit.farm.language}
    return PaperForm(*sent, today=visit.today, initial=usual)


def _kept(request: HttpRequest, visit: Visit, form: PaperForm) -> bool:
    """Whether the paper was kept; where it was refused, the form says why."""
    typed = dict(form.cleaned_data)
    # One byte more than is taken: enough to be refused, whatever its size.
    signed = PaperSigned(scan=typed.pop("scan").read(MOST_BYTES + 1), **typed)
    try:
        keep_signed_paper(farm=visit.farm, paper=signed, by=request.user, now=visit.now)  # type: ignore[arg-type]
    except FlyroundError as refusal:
        show_refusal(form, refusal)
        return False
    return True


def _context(visit: Visit, form: PaperForm) -> dict[str, Any]:
    standing = standing_of(visit.farm, visit.today)
    papers = {paper.acceptance_id: paper for paper in papers_of(visit.farm)}
    shown = standing.agreement
    return {
        "visit": visit,
        "standing": standing,
        "text": text_of(shown, language_here()),
        "accept": AcceptForm(initial={"version": shown.version, "edition": shown.edition}),
        "form": form,
        "yeses": [(each, papers.get(each.id)) for each in acceptances_of(visit.farm)],
        "languages": LANGUAGES,
        "many_versions": len(VERSIONS) > 1,
    }
