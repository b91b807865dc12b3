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
from farms.offers import standing_offers
from farms.selectors import advisers_of_group, consents_of
from farms.services import ConsentAlreadyGiven, give_consent, withdraw_consent
from server.web.doors import Visit, farm_page
from server.web.forms.farm import AdviserForm
from server.web.forms.refusals import accepted


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
    with suppress(ConsentAlreadyGiven):  # pressed twice
        _give(request, visit, "regional")
    messages.success(request, _("The farm counts in its region's reports from the next quarter on."))
    return redirect("consents", farm_id=visit.farm.id)


@farm_page(Need.OWN)
@require_POST
def withdraw(request: HttpRequest, visit: Visit, consent_id: UUID) -> HttpResponse:
    withdraw_consent(consent=one_of(consents_of(visit.farm), consent_id), by=request.user, now=visit.now)
    messages.success(request, _("Withdrawn. It ended at once."))
    return redirect("consents", farm_id=visit.farm.id)


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
        "past": [consent for consent in given if consent.withdrawn_at is not None],
    }
