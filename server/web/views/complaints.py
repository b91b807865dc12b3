"""Complaints: what a neighbour or an inspector said, and what was answered; for owners and advisers of the farm."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from farms.access import Need
from farms.errors import Missing
from monitoring.selectors import answers_of, complaints_of, versions_of_complaint, words_of_answers, words_of_complaints
from monitoring.services import AnswerTyped, ComplaintTyped, Why, answer_complaint, record_complaint
from server.web.complaints import complaints_told, counts_then
from server.web.doors import Visit, farm_page
from server.web.forms.complaint import AnswerForm, ComplaintForm, MendAnswerForm, MendComplaintForm
from server.web.forms.refusals import accepted

A_PAGE = 30


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def complaints(request: HttpRequest, visit: Visit) -> HttpResponse:
    form = ComplaintForm(request.POST or None, initial={"heard_on": visit.today})
    made: list[Any] = []
    if form.is_valid() and accepted(form, lambda: made.append(_record(visit, form))):
        messages.success(request, _("It is on record. Note below it what was answered, once it is."))
        return redirect("complaint", farm_id=visit.farm.id, complaint_id=made[0].known_as)
    page = Paginator(complaints_of(visit.farm), A_PAGE).get_page(request.GET.get("page"))
    context = {"visit": visit, "form": form, "page": page, "told": complaints_told(visit.farm, page)}
    return render(request, "web/complaints.html", context, status=422 if form.errors else 200)


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def complaint(request: HttpRequest, visit: Visit, complaint_id: UUID) -> HttpResponse:
    """What was said, what was counted then, what was answered; and a further answer."""
    found = _known(visit, complaint_id)
    form = AnswerForm(request.POST or None, initial={"answered_on": visit.today})
    if form.is_valid() and accepted(form, lambda: _answer(visit, found, form)):
        messages.success(request, _("The answer is on record."))
        return redirect("complaint", farm_id=visit.farm.id, complaint_id=found.known)
    versions = versions_of_complaint(found)
    context = {
        "visit": visit,
        "told": complaints_told(visit.farm, [found])[0],
        "before": complaints_told(visit.farm, versions)[:-1][::-1],
        "counts": counts_then(visit.farm, found.heard_on),
        "form": form,
    }
    return render(request, "web/complaint.html", context, status=422 if form.errors else 200)


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def mend(request: HttpRequest, visit: Visit, complaint_id: UUID) -> HttpResponse:
    """Note it anew, with the reason: the first stays."""
    found = _known(visit, complaint_id)
    words = words_of_complaints(visit.farm, [found.id]).get(found.id, {})
    initial = words | {"heard_on": found.heard_on, "said_by": found.said_by, "came": found.came, "reason": ""}
    form = MendComplaintForm(request.POST or None, initial=initial)
    return _mended(request, visit, found, form, lambda: _record(visit, form, found))


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def mend_answer(request: HttpRequest, visit: Visit, complaint_id: UUID, complaint_answer_id: UUID) -> HttpResponse:
    """Note an answer anew, with the reason: the first stays."""
    found = _known(visit, complaint_id)
    answer = answers_of(visit.farm).filter(complaint_id=found.known, id=complaint_answer_id).first()
    if answer is None:
        raise Missing()
    words = words_of_answers(visit.farm, [answer.id]).get(answer.id, {})
    initial = words | {"answered_on": answer.answered_on, "went": answer.went, "reason": ""}
    form = MendAnswerForm(request.POST or None, initial=initial)
    return _mended(request, visit, found, form, lambda: _answer(visit, found, form, answer))


def _mended(request: HttpRequest, visit: Visit, found: Any, form: Any, act: Any) -> HttpResponse:
    if form.is_valid() and accepted(form, act):
        messages.success(request, _("It is changed. What was noted first stays on record."))
        return redirect("complaint", farm_id=visit.farm.id, complaint_id=found.known)
    context = {"visit": visit, "form": form, "complaint": found}
    return render(request, "web/complaint_mend.html", context, status=422 if form.errors else 200)


def _record(visit: Visit, form: ComplaintForm, replaced: Any = None) -> Any:
    typed = dict(form.cleaned_data)
    mending = Why(replaced, typed.pop("reason")) if replaced is not None else None
    return record_complaint(
        farm=visit.farm, typed=ComplaintTyped(**typed), actor=visit.actor, now=visit.now, mending=mending
    )  # fmt: skip


def _answer(visit: Visit, found: Any, form: AnswerForm, replaced: Any = None) -> None:
    typed = dict(form.cleaned_data)
    mending = Why(replaced, typed.pop("reason")) if replaced is not None else None
    answer_complaint(
        complaint=found, typed=AnswerTyped(**typed), actor=visit.actor, now=visit.now, mending=mending
    )  # fmt: skip


def _known(visit: Visit, complaint_id: UUID) -> Any:
    found = complaints_of(visit.farm).filter(known=complaint_id).first()
    if found is None:
        raise Missing()
    return found
