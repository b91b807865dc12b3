"""What the farm agrees to: who advises it, and whether it counts in region reports. The owner's to give and end."""

from contextlib import suppress
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from farms.access import Need, one_of
from farms.agreement import standing_of
from farms.comparison import Comparison, comparison_of
from farms.offers import standing_offers
from farms.selectors import advisers_of_group, consents_of
from farms.services import (
    AgreementNotAccepted,
    ConsentAlreadyGiven,
    give_consent,
    join_comparison,
    withdraw_consent,
)
from server.web.doors import Visit, farm_page
from server.web.forms.farm import AdviserForm
from server.web.forms.refusals import accepted
from server.web.words import long_day


@farm_page(Need.OWN)
@require_safe
def consents(request: HttpRequest, visit: Visit) -> HttpResponse:
    return render(
        request, "web/consents.html", _context(visit, AdviserForm(advisers=advisers_of_group(visit.farm.group_id)))
    )


@farm_page(Need.OWN)
@require_POST
def agree_adviser(request: HttpRequest, visit: Visit) -> HttpResponse:
    advisers = {str(user.id): user for user in advisers_of_group(visit.farm.group_id)}
    form = AdviserForm(request.POST, advisers=list(advisers.values()))
    if form.is_valid():
        adviser, follows = advisers[form.cleaned_data["adviser"]], form.cleaned_data["whoever_follows"]
        if accepted(form, lambda: _give(request, visit, "adviser", adviser=adviser, whoever_follows=follows)):
            messages.success(request, _("%(name)s may see the farm now.") % {"name": adviser})
            return redirect("consents", farm_id=visit.farm.id)
    return render(request, "web/consents.html", _context(visit, form), status=422)


@farm_page(Need.OWN)
@require_POST
def agree_region(request: HttpRequest, visit: Visit) -> HttpResponse:
    before = _comparison(visit)
    try:
        with suppress(ConsentAlreadyGiven):  # pressed twice
            join_comparison(farm=visit.farm, by=request.user, now=visit.now)  # type: ignore[arg-type]
    except AgreementNotAccepted:
        messages.error(request, _("First read and accept the data agreement here; then count the farm in."))
        return redirect("agreement", farm_id=visit.farm.id)
    told = _("The farm goes on counting in its region's reports.")
    if not before.counts_now:
        told = _("The farm counts in its region's reports from %(day)s on.") % {"day": long_day(before.begins_on)}
    messages.success(request, told)
    return redirect("consents", farm_id=visit.farm.id)


@farm_page(Need.OWN)
@require_POST
def withdraw(request: HttpRequest, visit: Visit, consent_id: UUID) -> HttpResponse:
    consent, before = one_of(consents_of(visit.farm), consent_id), _comparison(visit)
    withdraw_consent(consent=consent, by=request.user, now=visit.now)
    messages.success(request, _ended(before) if consent.kind == "regional" else _("Withdrawn. It ended at once."))
    return redirect("consents", farm_id=visit.farm.id)


def _ended(before: Comparison) -> str:
    """What ending the comparison means for this quarter and the next."""
    if not before.counts_now:
        return _("Withdrawn. The farm does not count in its region's reports.")
    days = {"until": long_day(before.until), "begins": long_day(before.begins_on)}
    told = _("Withdrawn. The farm still counts until %(until)s; from %(begins)s on the reports do without it.")
    return told % days


def _comparison(visit: Visit) -> Comparison:
    return comparison_of(visit.farm, consents_of(visit.farm), visit.now)


def _give(request: HttpRequest, visit: Visit, kind: str, **agreed: Any) -> None:
    give_consent(farm=visit.farm, kind=kind, **agreed, by=request.user, now=visit.now)  # type: ignore[arg-type]


def _context(visit: Visit, form: AdviserForm) -> dict[str, object]:
    given = list(consents_of(visit.farm))
    lasting = [consent for consent in given if consent.withdrawn_at is None]
    return {
        "visit": visit,
        "form": form,
        "offers": standing_offers([visit.farm.id]),
        "advisers": [consent for consent in lasting if consent.kind == "adviser"],
        "regional": next((consent for consent in lasting if consent.kind == "regional"), None),
        "standing": standing_of(visit.farm, visit.today),
        "comparison": comparison_of(visit.farm, given, visit.now),
        "past": [consent for consent in given if consent.withdrawn_at is not None],
    }
