"""Daily temperatures, typed or brought in as a file: a farm's own, and for coordinators a region's. All optional."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST

from alerts.wording.temperatures import degrees
from farms import clock
from farms.access import GroupRole, Need, group_for, one_of
from farms.clock import local_date
from farms.errors import FlyroundError
from farms.selectors import regions_open_to
from farms.showing import CELSIUS, FAHRENHEIT, showing, shown
from monitoring.csv_import import read_temperatures
from monitoring.rules.temperatures import TemperatureTable
from monitoring.selectors import DayShown, last_days
from monitoring.services import record_farm_temperatures, record_temperatures
from server.web.doors import Visit, farm_page, signed_in
from server.web.forms.temperatures import TemperatureFileForm, TypedDaysForm

TYPED, SHOWN = 7, 14
LARGEST = 5 * 1024 * 1024


@dataclass(frozen=True)
class Place:
    """Whose days they are: how its page is reached, what is stored there and shown of it."""

    name: str
    page: str
    steps: list[tuple[str, str]]
    today: date
    store: Callable[[TemperatureTable], int]
    shown: Callable[[], list[DayShown]]
    is_farm: bool

    @property
    def file_page(self) -> str:
        return f"{self.page}file/"

    def days_to_type(self) -> list[date]:
        """The last days that are over, newest first."""
        return [self.today - timedelta(days=back) for back in range(1, TYPED + 1)]


@farm_page(Need.RECORD)
@require_http_methods(["GET", "HEAD", "POST"])
def temperatures(request: HttpRequest, visit: Visit) -> HttpResponse:
    return _typed(request, _of_farm(visit))


@farm_page(Need.RECORD)
@require_POST
def temperatures_file(request: HttpRequest, visit: Visit) -> HttpResponse:
    return _file(request, _of_farm(visit))


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def region_temperatures(request: HttpRequest, region_id: UUID) -> HttpResponse:
    """For the group's coordinators; its other people are let in nowhere here, and strangers find nothing."""
    return _typed(request, _of_region(request, region_id, clock.now()))


@signed_in
@require_POST
def region_temperatures_file(request: HttpRequest, region_id: UUID) -> HttpResponse:
    return _file(request, _of_region(request, region_id, clock.now()))


def _of_farm(visit: Visit) -> Place:
    farm, now = visit.farm, visit.now
    settings = [(_("Farm settings"), reverse("settings", args=[farm.id]))] if visit.may["manage"] else []
    return Place(
        name=farm.name,
        page=reverse("temperatures", args=[farm.id]),
        steps=[(farm.name, reverse("farm", args=[farm.id])), *settings, (_("Temperatures"), "")],
        today=visit.today,
        store=lambda table: record_farm_temperatures(farm=farm, table=table, now=now),
        shown=lambda: last_days(farm.region, visit.today, SHOWN, farm),
        is_farm=True,
    )


def _of_region(request: HttpRequest, region_id: UUID, now: datetime) -> Place:
    region = one_of(regions_open_to(request.user), region_id)
    group_for(request.user, region.group_id, role=GroupRole.COORDINATOR)
    today = local_date(now, region.group.time_zone)
    return Place(
        name=region.name,
        page=reverse("region_temperatures", args=[region.id]),
        steps=[(region.name, reverse("region", args=[region.id])), (_("Temperatures"), "")],
        today=today,
        store=lambda table: record_temperatures(region=region, table=table, now=now),
        shown=lambda: last_days(region, today, SHOWN),
        is_farm=False,
    )


def _typed(request: HttpRequest, place: Place) -> HttpResponse:
    form = _form(place, request.POST if request.method == "POST" else None)
    if form.is_valid():
        try:
            return _stored(request, place, place.store(form.table()))
        except FlyroundError as refusal:
            form.refuse(refusal.errors)
    return _page(request, place, form=form)


def _file(request: HttpRequest, place: Place) -> HttpResponse:
    """Store the whole file, or nothing of it and name every row that is wrong."""
    form = TemperatureFileForm(request.POST, request.FILES)
    wrong: list[tuple[str, str, str]] = []
    if form.is_valid():
        try:
            # One byte more than is taken: enough for the reader to refuse it, whatever its size.
            content = form.cleaned_data["file"].read(LARGEST + 1)
            table = read_temperatures(content, order=form.cleaned_data["order"] or None)
            return _stored(request, place, place.store(table))
        except FlyroundError as refusal:
            form.add_error(None, str(refusal))
            wrong = [(*detail.pointer.split("/")[-2:], detail.detail) for detail in refusal.errors]  # type: ignore[misc]
    return _page(request, place, file_form=form, wrong=wrong)


def _stored(request: HttpRequest, place: Place, days: int) -> HttpResponse:
    told = ngettext("%(days)d day stored.", "%(days)d days stored.", days) % {"days": days}
    messages.success(request, told)
    return redirect(place.page)


def _page(
    request: HttpRequest,
    place: Place,
    *,
    form: TypedDaysForm | None = None,
    file_form: TemperatureFileForm | None = None,
    wrong: list[tuple[str, str, str]] | None = None,
) -> HttpResponse:
    context = {
        "place": place,
        "form": form or _form(place),
        "file_form": file_form or TemperatureFileForm(),
        "wrong": wrong,
        "days": [(day, _in_both_units(day)) for day in place.shown()],
    }
    refused = any(each is not None and each.errors for each in (form, file_form))
    return render(request, "web/temperatures.html", context, status=422 if refused else 200)


def _form(place: Place, sent: Any = None) -> TypedDaysForm:
    return TypedDaysForm(sent, days=place.days_to_type(), initial={"unit": shown().degrees})


def _in_both_units(day: DayShown) -> list[list[str]]:
    """Lowest and highest, each in the reader's degrees and then in the others; nothing where they are not known."""
    known = [each for each in (day.lowest, day.highest) if each is not None]
    units = (CELSIUS, FAHRENHEIT) if shown().degrees == CELSIUS else (FAHRENHEIT, CELSIUS)
    return [[_as_on_a_thermometer(each, unit) for unit in units] for each in known]


def _as_on_a_thermometer(celsius: float, unit: str) -> str:
    """12.3 °C; 54 °F."""
    with showing(replace(shown(), degrees=unit)):
        return degrees(celsius, 1 if unit == CELSIUS else 0)
