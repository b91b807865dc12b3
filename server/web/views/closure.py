"""Closed to visits: a farm, by its owner or adviser; a region, by a coordinator. A day and one button."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from alerts.wording.closures import closure_sentence
from farms import clock
from farms.access import GroupRole, Need, group_for, one_of
from farms.clock import local_date
from farms.closures import Closure, closures_ahead, closures_ahead_of_region
from farms.selectors import own_regions_of
from farms.services import close_farm, close_region, open_farm, open_region
from server.web.doors import Visit, farm_page, signed_in
from server.web.forms.closure import ClosureForm
from server.web.forms.refusals import accepted


@dataclass(frozen=True)
class Place:
    """Whose visits they are: a farm's or a region's. What is set there, and how."""

    name: str
    page: str
    lift_page: str
    today: date
    steps: list[tuple[str, str]]
    ahead: list[Closure]
    ahead_of_region: list[Closure]
    shut: Callable[[date], Any]
    lift: Callable[[date], Any]
    is_farm: bool

    @property
    def is_shut_for_good(self) -> bool:
        """Whether it is closed without an end, so that closing it would change nothing from today on."""
        return any(each.from_on <= self.today and each.open_from is None for each in self.ahead)


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def closure(request: HttpRequest, visit: Visit) -> HttpResponse:
    return _closing(request, _of_farm(request, visit))


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def closure_lift(request: HttpRequest, visit: Visit) -> HttpResponse:
    return _lifting(request, _of_farm(request, visit))


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def region_closure(request: HttpRequest, region_id: UUID) -> HttpResponse:
    """For the group's coordinators; its other people read on the region's page whether it is closed."""
    return _closing(request, _of_region(request, region_id))


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def region_closure_lift(request: HttpRequest, region_id: UUID) -> HttpResponse:
    return _lifting(request, _of_region(request, region_id))


def _of_farm(request: HttpRequest, visit: Visit) -> Place:
    farm, by, now = visit.farm, request.user, visit.now
    steps = [(farm.name, reverse("farm", args=[farm.id])), (_("Farm settings"), reverse("settings", args=[farm.id]))]
    return Place(
        name=farm.name,
        page=reverse("closure", args=[farm.id]),
        lift_page=reverse("closure_lift", args=[farm.id]),
        today=visit.today,
        steps=[*steps, (_("Visits"), "")],
        ahead=closures_ahead(farm, visit.today),
        ahead_of_region=closures_ahead_of_region(farm.region_id, visit.today),
        shut=lambda day: close_farm(farm=farm, from_on=day, by=by, now=now),
        lift=lambda day: open_farm(farm=farm, from_on=day, by=by, now=now),
        is_farm=True,
    )


def _of_region(request: HttpRequest, region_id: UUID) -> Place:
    region: Any = one_of(own_regions_of(request.user), region_id)
    group_for(request.user, region.group_id, role=GroupRole.COORDINATOR)
    by, now = request.user, clock.now()
    today = local_date(now, region.group.time_zone)
    return Place(
        name=region.name,
        page=reverse("region_closure", args=[region.id]),
        lift_page=reverse("region_closure_lift", args=[region.id]),
        today=today,
        steps=[(region.name, reverse("region", args=[region.id])), (_("Visits"), "")],
        ahead=closures_ahead_of_region(region.id, today),
        ahead_of_region=[],
        shut=lambda day: close_region(region=region, from_on=day, by=by, now=now),
        lift=lambda day: open_region(region=region, from_on=day, by=by, now=now),
        is_farm=False,
    )


def _closing(request: HttpRequest, place: Place) -> HttpResponse:
    form = ClosureForm(request.POST if request.method == "POST" else None, initial={"from_on": place.today})
    if form.is_valid() and accepted(form, lambda: place.shut(form.cleaned_data["from_on"])):
        messages.success(request, _("Closed to visits. Until it is lifted, planned visits are calls."))
        return redirect(place.page)
    return _page(request, place, form=form)


def _lifting(request: HttpRequest, place: Place) -> HttpResponse:
    """As `_closing`; looked at, it is the same page, so that a refusal may be loaded again."""
    form = _lift_form(place, request.POST if request.method == "POST" else None)
    if form.is_valid() and accepted(form, lambda: place.lift(form.cleaned_data["from_on"])):
        messages.success(request, _("From that day on visits are open again."))
        return redirect(place.page)
    return _page(request, place, lifting=form)


def _lift_form(place: Place, data: QueryDict | None = None) -> ClosureForm:
    """Its field has an id of its own: both forms may stand on the page."""
    return ClosureForm(data, initial={"from_on": place.today}, auto_id="id_lift_%s")


def _page(
    request: HttpRequest, place: Place, *, form: ClosureForm | None = None, lifting: ClosureForm | None = None
) -> HttpResponse:
    fresh = ClosureForm(initial={"from_on": place.today})
    refused = any(each is not None and each.errors for each in (form, lifting))
    context = {
        "place": place,
        "told": [closure_sentence(each, place.today) for each in (*place.ahead, *place.ahead_of_region)],
        # The buttons that fit what is set; after a refusal also the one that was pressed.
        "form": form if form is not None and form.errors else None if place.is_shut_for_good else fresh,
        "lifting": lifting if lifting is not None and lifting.errors else _lift_form(place) if place.ahead else None,
    }
    return render(request, "web/closure.html", context, status=422 if refused else 200)
