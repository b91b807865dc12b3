"""What a hired sprayer's one-time address opens: one record to fill in. Nothing of the farm but its barns is told.

Opening it changes nothing, since mail programs open addresses too. A wrong address, a used one, one taken back and one
that ended are answered alike.
"""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from farms import clock
from farms.selectors import facilities_of
from farms.tenancy.acting import meanwhile_for_user
from monitoring.errors import ApplicationRefused, SprayerLinkSpent
from monitoring.selectors import sprayer_link_by_key
from monitoring.services import record_by_link
from server.web.applications import applied_in, named_for_form, usual_times
from server.web.forms.application import ApplicationForm
from server.web.forms.refusals import accepted
from server.web.limits import too_often, tried_too_often

RECORD = "web/spray_record.html"


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def spray_record(request: HttpRequest, key: str) -> HttpResponse:
    if tried_too_often(request, "spray-record", limit=60):
        return too_often(request)
    link = sprayer_link_by_key(key, timezone.now())
    if link is None:
        return _opens_nothing(request)
    with meanwhile_for_user(link.made_by_id):
        facilities = list(facilities_of(link.farm))
    zone, now = link.farm.time_zone, clock.now()
    form = ApplicationForm(
        request.POST or None, initial=usual_times(now, zone) | {"done_for": link.farm.name}, facilities=facilities,
        zone=zone,
    )  # fmt: skip
    if form.is_valid():
        if accepted(form, lambda: _record(link, form)):
            return render(request, RECORD, {"farm": link.farm, "sent": True})
        # It was used or taken back while this was filled in.
        if sprayer_link_by_key(key, timezone.now()) is None:
            return _opens_nothing(request)
    return render(request, RECORD, {"farm": link.farm, "form": form}, status=422 if form.errors else 200)


def _opens_nothing(request: HttpRequest) -> HttpResponse:
    return render(request, RECORD, {"refusal": str(SprayerLinkSpent())}, status=410)


def _record(link: Any, form: ApplicationForm) -> None:
    try:
        record_by_link(link=link, applied=applied_in(form), now=clock.now(), real=timezone.now())
    except ApplicationRefused as refusal:
        raise ApplicationRefused(errors=named_for_form(refusal)) from refusal
