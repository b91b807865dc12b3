"""A farm kept organic: since when, and what its certifier answered about a product."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from farms.access import Need
from monitoring.selectors import certifier_answers_of, is_organic, organic_marks_of
from monitoring.services import CertifierTyped, mark_organic, note_certifier_answer
from server.web.doors import Visit, farm_page
from server.web.forms.organic import CertifierForm, OrganicForm
from server.web.forms.refusals import accepted


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def organic(request: HttpRequest, visit: Visit) -> HttpResponse:
    """Whether the farm is kept organic; a POST marks it from a day on."""
    form = OrganicForm(request.POST or None, initial=_as_marked(visit))
    if form.is_valid() and accepted(form, lambda: _mark(visit, form)):
        return _noted(request, visit)
    return _shown(request, visit, form, CertifierForm())


@farm_page(Need.MANAGE)
@require_POST
def certifier_answer(request: HttpRequest, visit: Visit) -> HttpResponse:
    form = CertifierForm(request.POST)
    if form.is_valid() and accepted(form, lambda: _answer(visit, form)):
        return _noted(request, visit)
    return _shown(request, visit, OrganicForm(initial=_as_marked(visit)), form)


def _noted(request: HttpRequest, visit: Visit) -> HttpResponse:
    messages.success(request, _("It is on record."))
    return redirect("organic", farm_id=visit.farm.id)


def _shown(request: HttpRequest, visit: Visit, mark: OrganicForm, answer: CertifierForm) -> HttpResponse:
    context = {
        "visit": visit,
        "mark_form": mark,
        "answer_form": answer,
        "marks": organic_marks_of(visit.farm),
        "answers": certifier_answers_of(visit.farm),
        "organic": is_organic(visit.farm, visit.today),
    }
    return render(request, "web/organic.html", context, status=422 if mark.errors or answer.errors else 200)


def _as_marked(visit: Visit) -> dict[str, Any]:
    return {"from_on": visit.today, "is_organic": "yes" if is_organic(visit.farm, visit.today) else "no"}


def _mark(visit: Visit, form: OrganicForm) -> None:
    typed = form.cleaned_data
    mark_organic(
        farm=visit.farm, is_organic=typed["is_organic"] == "yes", from_on=typed["from_on"], actor=visit.actor,
        now=visit.now,
    )  # fmt: skip


def _answer(visit: Visit, form: CertifierForm) -> None:
    typed = CertifierTyped(**form.cleaned_data)
    note_certifier_answer(farm=visit.farm, typed=typed, actor=visit.actor, now=visit.now)
