"""Work done against flies, with its day. Sprays, pour-ons and baits need their full record and are not noted here."""

from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from farms.access import Need
from farms.selectors import facilities_of
from monitoring.selectors import works_of
from monitoring.services import WorkDone, record_work
from server.web.doors import Visit, farm_page
from server.web.forms.farm import WorkForm
from server.web.forms.refusals import accepted
from server.web.works import work_lines

SHOWN = timedelta(days=400)


@farm_page(Need.RECORD)
@require_http_methods(["GET", "HEAD", "POST"])
def work(request: HttpRequest, visit: Visit) -> HttpResponse:
    facilities = list(facilities_of(visit.farm))
    form = WorkForm(request.POST or None, facilities=facilities, initial={"done_on": visit.today})
    if form.is_valid() and accepted(form, lambda: _note(visit, form, facilities)):
        messages.success(request, _("Noted. Whether it helped shows in the weeks after it."))
        return redirect("farm", farm_id=visit.farm.id)
    works = work_lines(visit.farm, list(works_of(visit.farm, visit.today - SHOWN)), visit.today)
    context = {"visit": visit, "form": form, "works": works}
    return render(request, "web/work.html", context, status=422 if form.errors else 200)


def _note(visit: Visit, form: WorkForm, facilities: list[Any]) -> None:
    wanted = form.cleaned_data
    facility = next((item for item in facilities if str(item.id) == wanted["facility"]), None)
    done = WorkDone(wanted["kind"], wanted["done_on"], facility, form.was_thorough)
    record_work(farm=visit.farm, work=done, actor=visit.actor, now=visit.now)
