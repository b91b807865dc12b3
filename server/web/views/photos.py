"""Photos of a round: added from its page or by a script, looked at, erased."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from farms.access import Need, one_of
from farms.errors import FlyroundError
from farms.ids import uuid7
from farms.selectors import facilities_of
from monitoring.errors import PhotoRefused
from monitoring.rules.pixels import MOST_BYTES
from monitoring.selectors import photos_of, picture_of, rounds_of, stations_of
from monitoring.services import PhotoSent, add_photo, erase_photo
from server.api.problems import refusal_of
from server.web.doors import Visit, farm_page
from server.web.forms.photo import PhotoForm
from server.web.phone_clock import by_our_clock
from server.web.pictures import shown_picture


@farm_page(Need.COUNT)
@require_POST
def photos(request: HttpRequest, visit: Visit, round_id: UUID) -> HttpResponse:
    """Take a photo in: 201 for a script, 200 where it came before, or a problem; for a form the round's page."""
    walked = one_of(rounds_of(visit.farm).select_related("farm"), round_id)
    by_script = request.get_preferred_type(["text/html", "application/json"]) == "application/json"
    try:
        photo = add_photo(walked=walked, sent=_sent(request, visit), actor=visit.actor, now=visit.now)
    except FlyroundError as refusal:
        if by_script:
            return refusal_of(refusal).response(request)
        for sentence in {each.detail for each in refusal.errors} or {str(refusal)}:
            messages.error(request, sentence)
    else:
        if by_script:
            return JsonResponse({"id": str(photo.id)}, status=201 if photo.is_new else 200)
        messages.success(request, _("The photo is kept. Where and with what it was taken is not."))
    # A farm phone sees its round's end only.
    return redirect("round" if visit.may["read"] else "round_end", farm_id=visit.farm.id, round_id=walked.id)


@farm_page(Need.READ)
@require_safe
def photo(request: HttpRequest, visit: Visit, photo_id: UUID) -> HttpResponse:
    return _shown(request, visit, photo_id, small=False)


@farm_page(Need.READ)
@require_safe
def small_photo(request: HttpRequest, visit: Visit, photo_id: UUID) -> HttpResponse:
    return _shown(request, visit, photo_id, small=True)


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def erase(request: HttpRequest, visit: Visit, photo_id: UUID) -> HttpResponse:
    """A question, and the erasing."""
    found = one_of(photos_of(visit.farm), photo_id)
    if request.method == "POST":
        erase_photo(photo=found, by=request.user, now=visit.now)  # type: ignore[arg-type]
        messages.success(request, _("The photo is erased. That there was one stays on record."))
        return redirect("round", farm_id=visit.farm.id, round_id=found.round_id)
    return render(request, "web/erase_photo.html", {"visit": visit, "photo": found})


def photo_form(visit: Visit, *sent: Any) -> PhotoForm:
    return PhotoForm(
        *sent, stations=list(stations_of(visit.farm)), facilities=list(facilities_of(visit.farm)),
        initial={"id": uuid7(), "kind": "card"},
    )  # fmt: skip


def _sent(request: HttpRequest, visit: Visit) -> PhotoSent:
    """What was sent, as the service takes it. Raises PhotoRefused."""
    form = photo_form(visit, request.POST, request.FILES)
    if not form.is_valid():
        raise PhotoRefused(errors=form.details())
    found = form.cleaned_data
    return PhotoSent(
        id=found["id"], kind=found["kind"], taken_at=by_our_clock(found["taken_at"], found["sent_at"], visit.now),
        # One byte more than is taken: enough to be refused, whatever its size.
        content=found["file"].read(MOST_BYTES + 1),
        station=form.stations.get(found["station_id"]), facility=form.facilities.get(found["facility_id"]),
        x=found["x"], y=found["y"],
    )  # fmt: skip


def _shown(request: HttpRequest, visit: Visit, photo_id: UUID, *, small: bool) -> HttpResponse:
    found = one_of(photos_of(visit.farm), photo_id)
    return shown_picture(request, picture_of(found, small=small), found.id, found.taken_at, small=small)
