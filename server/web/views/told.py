"""An adviser notes on the Monday list that a farm was told its week, or that it wasn't after all."""

from collections.abc import Callable
from datetime import date
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from alerts.services import Telling, mark_told, take_back_told
from farms.access import Need
from server.web.doors import Visit, farm_page
from server.web.forms.refusals import accepted
from server.web.forms.told import TellingForm, WeekForm


@farm_page(Need.MANAGE)
@require_POST
def told(request: HttpRequest, visit: Visit) -> HttpResponse:
    form = TellingForm(request.POST)
    return _noted(
        request,
        form,
        lambda: mark_told(farm=visit.farm, telling=Telling(**form.cleaned_data), by=request.user, now=visit.now),
        _("%(farm)s was told. What opened up to that week counts as seen.") % {"farm": visit.farm.name},
    )


@farm_page(Need.MANAGE)
@require_POST
def take_back(request: HttpRequest, visit: Visit) -> HttpResponse:
    form = WeekForm(request.POST)
    return _noted(
        request,
        form,
        lambda: take_back_told(farm=visit.farm, week=form.cleaned_data["week"], by=request.user, now=visit.now),
        _("%(farm)s was not told after all.") % {"farm": visit.farm.name},
    )


def _noted(request: HttpRequest, form: forms.Form, act: Callable[[], Any], sentence: str) -> HttpResponse:
    """Back to the list, with what was noted or why it wasn't."""
    if form.is_valid() and accepted(form, act):
        messages.success(request, sentence)
    for errors in form.errors.values():
        messages.warning(request, " ".join(errors))
    week = form.cleaned_data.get("week")
    return redirect(reverse("monday") + (f"?week={week:%Y-%m-%d}" if isinstance(week, date) else ""))
