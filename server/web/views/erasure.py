"""Asking for a farm or for somebody who counts there to be erased, and taking it back. It is done elsewhere, later."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST

from farms.access import Need, one_of
from farms.erasures import farm_erasure_of, waiting_erasures
from farms.errors import Conflict
from farms.selectors import people_of
from farms.services import ErasureAskedAlready, ask_farm_erasure, ask_person_erasure, take_erasure_back
from server.web.doors import Visit, farm_page
from server.web.erasure_mail import tell_of_erasure
from server.web.forms.erasure import EraseFarmForm, EraseWordsForm
from server.web.forms.refusals import accepted

NOTES_TOO = gettext_lazy("Also what was noted on the rounds they counted or typed")


@farm_page(Need.OWN)
@require_http_methods(["GET", "HEAD", "POST"])
def erase_farm(request: HttpRequest, visit: Visit) -> HttpResponse:
    form = EraseFarmForm(request.POST if request.method == "POST" else None)
    if form.is_valid() and accepted(form, lambda: _ask(request, visit, form.cleaned_data["farm_name"])):
        messages.success(request, _("Asked for. Until the day below you can take it back here."))
        return redirect("erase_farm", farm_id=visit.farm.id)
    context = {"visit": visit, "form": form, "waiting": farm_erasure_of(visit.farm)}
    return render(request, "web/erase_farm.html", context, status=422 if form.errors else 200)


@farm_page(Need.OWN)
@require_POST
def keep_farm(request: HttpRequest, visit: Visit) -> HttpResponse:
    waiting = farm_erasure_of(visit.farm)
    if waiting is None:  # pressed twice, or by two owners
        messages.success(request, _("Nothing waits to be erased: the farm stays."))
    else:
        kept = take_erasure_back(asked=waiting, by=request.user, now=visit.now)  # type: ignore[arg-type]
        tell_of_erasure(request, kept)
        messages.success(request, _("Taken back: the farm stays, with all its records."))
    return redirect("erase_farm", farm_id=visit.farm.id)


@farm_page(Need.OWN)
@require_http_methods(["GET", "HEAD", "POST"])
def erase_person(request: HttpRequest, visit: Visit, person_id: UUID) -> HttpResponse:
    person = one_of(people_of(visit.farm).select_related("farm"), person_id)
    form = EraseWordsForm(request.POST if request.method == "POST" else None, label=NOTES_TOO)
    if form.is_valid() and accepted(form, lambda: _ask_person(request, visit, person, form)):
        messages.success(request, _("Asked for. Until its day you can take it back here."))
        return redirect("people", farm_id=visit.farm.id)
    context = {"visit": visit, "form": form, "person": person}
    return render(request, "web/erase_person.html", context, status=422 if form.errors else 200)


@farm_page(Need.OWN)
@require_POST
def keep_person(request: HttpRequest, visit: Visit, erasure_request_id: UUID) -> HttpResponse:
    asked = one_of(waiting_erasures(visit.farm.id).filter(person_id__isnull=False), erasure_request_id)
    try:
        take_erasure_back(asked=asked, by=request.user, now=visit.now)  # type: ignore[arg-type]
        messages.success(request, _("Taken back: the name stays."))
    except Conflict as refusal:
        messages.error(request, str(refusal))
    return redirect("people", farm_id=visit.farm.id)


def _ask(request: HttpRequest, visit: Visit, typed: str) -> None:
    by: Any = request.user
    try:
        asked = ask_farm_erasure(farm=visit.farm, typed_name=typed, by=by, now=visit.now)
    except ErasureAskedAlready:  # pressed twice
        return
    tell_of_erasure(request, asked)


def _ask_person(request: HttpRequest, visit: Visit, person: Any, form: EraseWordsForm) -> None:
    by: Any = request.user
    try:
        ask_person_erasure(person=person, words=form.cleaned_data["words"], by=by, now=visit.now)
    except ErasureAskedAlready:  # pressed twice
        return
