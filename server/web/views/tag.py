"""What a station's QR code opens: the round, at that station. The address is no key; the usual doors let in."""

from datetime import timedelta
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.cache import add_never_cache_headers
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods
from django.views.decorators.vary import vary_on_cookie

from farms import clock
from farms.access import Need, let_in
from farms.errors import Missing
from farms.selectors import people_of
from monitoring.selectors import last_farm_counted, rounds_of, stations_of
from server.web.doors import Visit, farm_page, refusals
from server.web.phone import kept_phone, phone_of, prefer
from server.web.round_form import lines_on, stations_read

# Who counted elsewhere longer ago than this has come to count here.
RECENT = timedelta(days=30)
SAID_YES = "opened_by_tag"


@vary_on_cookie
@require_http_methods(["GET", "HEAD", "POST"])
def tag(request: HttpRequest, farm_id: UUID, station_id: UUID) -> HttpResponse:
    """As every page of a farm for people and the farm's phone; a phone of another farm is asked, or told why not."""
    phone = None if request.user.is_authenticated else phone_of(request)
    if phone is None or phone.farm_id == farm_id:
        return _tag(request, farm_id=farm_id, station_id=station_id)
    response = _on_a_phone_of(phone, request, farm_id, station_id)
    add_never_cache_headers(response)
    return response


@farm_page(Need.COUNT)
def _tag(request: HttpRequest, visit: Visit, station_id: UUID) -> HttpResponse:
    station = _station(visit, station_id)
    if request.method == "POST":
        request.session[SAID_YES] = [str(visit.farm.id), visit.today.isoformat()]
    elif (elsewhere := _counts_elsewhere(request, visit)) is not None:
        return _ask(request, visit, station, elsewhere)
    return _open(request, visit, station)


def _on_a_phone_of(phone: Any, request: HttpRequest, farm_id: UUID, station_id: UUID) -> HttpResponse:
    """Where the phone was given this farm's code, too, it asks and changes over.

    Else it says the same of every address, whether there is such a farm or not.
    """
    other = kept_phone(request, farm_id)
    if other is None:
        return render(request, "web/tag_of_another_farm.html", {"phone": phone}, status=404)
    with refusals():
        visit = Visit(other, *let_in(other, farm_id, needs=Need.COUNT), clock.now())
        station = _station(visit, station_id)
    if request.method != "POST":
        return _ask(request, visit, station, phone.farm)
    response = _open(request, visit, station)
    prefer(request, response, farm_id)
    return response


def _station(visit: Visit, station_id: UUID) -> Any:
    found = next((each for each in stations_of(visit.farm) if each.id == station_id), None)
    if found is None:
        raise Http404(str(Missing()))
    return found


def _counts_elsewhere(request: HttpRequest, visit: Visit) -> Any:
    """The farm on which this person counted last, where it is another one and they didn't say yes to this one today."""
    if visit.is_phone or request.session.get(SAID_YES) == [str(visit.farm.id), visit.today.isoformat()]:
        return None
    last = last_farm_counted(request.user, visit.now - RECENT)  # type: ignore[arg-type]  # signed in
    return None if last is None or last.id == visit.farm.id else last


def _ask(request: HttpRequest, visit: Visit, station: Any, elsewhere: Any) -> HttpResponse:
    return render(request, "web/tag.html", {"visit": visit, "station": station, "elsewhere": elsewhere})


def _open(request: HttpRequest, visit: Visit, station: Any) -> HttpResponse:
    """The round at this station, going on where it was begun today; a page that says so where it is in use no more."""
    if not station.since <= visit.today <= (station.until or visit.today):
        return render(request, "web/tag_not_in_use.html", {"visit": visit, "station": station})
    begun = _begun(visit)
    lines = lines_on(visit.farm, visit.today, done=stations_read(visit.farm, begun.id) if begun else ())
    address = reverse("count", kwargs={"farm_id": visit.farm.id})
    if begun and lines:
        address += "?" + urlencode({"round": begun.id})
    here = next((line for line in lines if line.station.id == station.id), None)
    if here is not None:
        return redirect(f"{address}#at-{here.key}")
    messages.info(request, _("%(label)s: nothing is left to count here today.") % {"label": station.label})
    return redirect(address)


def _begun(visit: Visit) -> Any:
    """Today's round that this person began, or the phone: it goes on as one round."""
    rounds = rounds_of(visit.farm).filter(walked_on=visit.today)
    if visit.is_phone:
        return rounds.filter(source="phone").first()
    own = people_of(visit.farm).filter(user_id=visit.who.id).first()
    return rounds.filter(source="form", counted_by=own.id).first() if own else None
