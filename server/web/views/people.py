"""Who counts on the farm: names to tap, without accounts."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from farms.access import Need, one_of
from farms.erasures import names_of_people, waiting_erasures
from farms.selectors import people_of
from farms.services import add_person, end_person
from server.web.doors import Visit, farm_page
from server.web.forms.farm import PersonForm
from server.web.forms.refusals import accepted


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def people(request: HttpRequest, visit: Visit) -> HttpResponse:
    form = PersonForm(request.POST or None)
    if form.is_valid() and accepted(form, lambda: add_person(farm=visit.farm, now=visit.now, **form.cleaned_data)):
        messages.success(request, _("%(name)s can be tapped as counting now.") % {"name": form.cleaned_data["name"]})
        return redirect("people", farm_id=visit.farm.id)
    erasures = _to_erase(visit)
    context = {"visit": visit, "form": form, "people": people_of(visit.farm), "erasures": erasures}
    context["to_erase"] = {asked.person_id for asked, _name in erasures}
    return render(request, "web/people.html", context, status=422 if form.errors else 200)


def _to_erase(visit: Visit) -> list[tuple[Any, str]]:
    """Names that are to be erased, for owners, who may keep them."""
    asked = list(waiting_erasures(visit.farm.id).filter(person_id__isnull=False)) if visit.may["own"] else []
    names = names_of_people(visit.farm, [each.person_id for each in asked if each.person_id])
    return [(each, names.get(each.person_id, "")) for each in asked if each.person_id]


@farm_page(Need.MANAGE)
@require_POST
def end_person_here(request: HttpRequest, visit: Visit, person_id: UUID) -> HttpResponse:
    """Take somebody off the list. What they counted stays as it is."""
    person = one_of(people_of(visit.farm), person_id)
    end_person(person=person, now=visit.now)
    messages.success(request, _("%(name)s is no longer on the list.") % {"name": person.name})
    return redirect("people", farm_id=visit.farm.id)
