"""The owner's yes or no to the next adviser; taking over what the one who left had promised."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from farms.access import Need, one_of
from farms.errors import Conflict, Invalid
from farms.offers import offers_of, promises_of
from farms.services import OfferAnswer, answer_offer, take_promise_over
from server.web.doors import Visit, farm_page


@farm_page(Need.OWN)
@require_POST
def answer(request: HttpRequest, visit: Visit, adviser_offer_id: UUID) -> HttpResponse:
    offer = one_of(offers_of(visit.farm), adviser_offer_id)
    try:
        said = answer_offer(offer=offer, answer=request.POST.get("answer", ""), by=request.user, now=visit.now)  # type: ignore[arg-type]
    except (Invalid, Conflict) as refusal:
        messages.error(request, str(refusal))
    else:
        yes = said.answer == OfferAnswer.YES
        told = _("%(name)s may see the farm now.") if yes else _("%(name)s won't see the farm.")
        messages.success(request, told % {"name": said.successor})
    return redirect("consents", farm_id=visit.farm.id)


@farm_page(Need.MANAGE)
@require_POST
def take_over(request: HttpRequest, visit: Visit, open_promise_id: UUID) -> HttpResponse:
    promise = one_of(promises_of(visit.farm), open_promise_id)
    try:
        take_promise_over(promise=promise, by=request.user, now=visit.now)  # type: ignore[arg-type]
    except Conflict as refusal:
        messages.error(request, str(refusal))
    else:
        messages.success(request, _("It is yours now."))
    return redirect("visits", farm_id=visit.farm.id)
