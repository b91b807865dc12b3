"""A farm's plan: see the week on it, draw it, lay a picture under it, print it."""

import csv
import json
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from farms.access import Need, one_of
from farms.errors import FlyroundError
from monitoring.charts.plan import PlanWords
from monitoring.rules.pictures import MEDIA_TYPES, picture_from
from monitoring.rules.pixels import MOST_BYTES
from monitoring.selectors import outlines_of, pictures_of, stations_of
from monitoring.services import draw_plan, lay_picture
from monitoring.services.plan import PlanChanged, PlanRefused
from server.agreement import language_here
from server.exports.formulas import harmless
from server.reports.plan import plan_answer
from server.reports.typesetter import PAPERS, usual_paper
from server.web.choices import choices_of
from server.web.doors import Visit, farm_page
from server.web.forms.plan import PictureForm, RectangleForm, SheetTyped, typed_of
from server.web.forms.refusals import show_refusal
from server.web.plan import Ground, PlanSeen, drawn, ground_of, plan_seen, plates, unit_told
from server.web.plan_words import board_words

COLUMNS = ("week", "method", "station", "place", "from_left", "from_top", "count", "at_least", "action_level", "stands")
COLUMNS += ("no_count", "share_percent")


@farm_page(Need.COUNT)
@require_safe
def plan(request: HttpRequest, visit: Visit) -> HttpResponse:
    """For whoever reads the farm with the week's levels; a farm phone sees where things hang, and no count."""
    if not visit.may["read"]:
        ground = ground_of(visit.farm)
        context = {"visit": visit, "ground": ground, "drawings": plates(ground, visit.today)}
        return render(request, "web/plan_to_count.html", context)
    seen = plan_seen(visit.farm, request.GET, visit.today)
    shown = seen.drawings if seen.weeks else plates(seen.ground, visit.today)
    context = {"visit": visit, "seen": seen, "ground": seen.ground, "drawings": shown, "unit": unit_told(seen.method)}
    return render(request, "web/plan.html", context)


@farm_page(Need.READ)
@require_safe
def plan_levels(request: HttpRequest, visit: Visit) -> HttpResponse:
    """The table below the plan as a file."""
    seen = plan_seen(visit.farm, request.GET, visit.today)
    response = HttpResponse(content_type="text/csv; charset=utf-8; header=present")
    name = f"plan-{seen.method}-{seen.week:%Y-%m-%d}.csv"
    response.headers["Content-Disposition"] = str(content_disposition_header(as_attachment=True, filename=name))
    writer = csv.writer(response)
    writer.writerow(COLUMNS)
    writer.writerows(_rows(seen))
    return response


@farm_page(Need.COUNT)
@require_safe
def plan_picture(request: HttpRequest, visit: Visit, plan_picture_id: UUID) -> HttpResponse:
    """What lies or lay under the plan."""
    picture = one_of(pictures_of(visit.farm), plan_picture_id)
    response = HttpResponse(bytes(picture.content), content_type=MEDIA_TYPES[picture.kind])
    response.headers["X-Content-Type-Options"] = "nosniff"
    return response


@farm_page(Need.READ)
@require_safe
def plan_print(request: HttpRequest, visit: Visit) -> HttpResponse:
    """The plan on paper, with the stations in walking order."""
    languages = dict(choices_of("farms.Farm", "language"))
    asked, paper = request.GET.get("language", ""), request.GET.get("paper", "")
    language = asked if asked in languages else language_here()
    paper = paper if paper in PAPERS else usual_paper(visit.farm.time_zone)
    return plan_answer(visit.farm, visit.today, language, paper)


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def plan_edit(request: HttpRequest, visit: Visit) -> HttpResponse:
    """Everything that was moved and drawn is saved at once, or nothing is."""
    ground = ground_of(visit.farm)
    if request.method != "POST":
        return _board(request, visit, ground)
    rectangle = RectangleForm(request.POST, facilities=list(ground.facilities.values()))
    typed = SheetTyped(request.POST.dict(), request.POST.getlist("drop"))  # type: ignore[arg-type]
    wanted = typed.drawn(stations_of(visit.farm), ground.spots, rectangle)
    if rectangle.is_valid() and not typed.errors:
        try:
            draw_plan(farm=visit.farm, drawn=wanted, by=request.user, now=visit.now)  # type: ignore[arg-type]
        except PlanRefused as refusal:
            typed.refuse(refusal)
        except PlanChanged as refusal:
            messages.error(request, str(refusal))
            return redirect("plan_edit", farm_id=visit.farm.id)
        else:
            messages.success(request, _("The plan is saved."))
            return redirect("plan", farm_id=visit.farm.id)
    return _board(request, visit, ground, typed=typed, rectangle=rectangle)


@farm_page(Need.MANAGE)
@require_POST
def plan_lay_picture(request: HttpRequest, visit: Visit) -> HttpResponse:
    form = PictureForm(request.POST, request.FILES)
    if form.is_valid():
        # One byte more than is taken: enough to be refused, whatever its size.
        content = form.cleaned_data["picture"].read(MOST_BYTES + 1)
        try:
            picture = picture_from(content, page=form.cleaned_data["page"] or 1)
            lay_picture(farm=visit.farm, picture=picture, by=request.user, now=visit.now)  # type: ignore[arg-type]
        except FlyroundError as refusal:
            show_refusal(form, refusal)
        else:
            messages.success(request, _("The picture lies under the plan. Now put the cards and traps where they are."))
            return redirect("plan_edit", farm_id=visit.farm.id)
    return _board(request, visit, ground_of(visit.farm), picture=form)


@farm_page(Need.MANAGE)
@require_POST
def plan_take_picture(request: HttpRequest, visit: Visit) -> HttpResponse:
    """The plan without a picture from now on; outlines and places stay."""
    lay_picture(farm=visit.farm, picture=None, by=request.user, now=visit.now)  # type: ignore[arg-type]
    messages.success(request, _("The picture is off the plan. Outlines and places stay."))
    return redirect("plan_edit", farm_id=visit.farm.id)


def _rows(seen: PlanSeen) -> list[list[Any]]:
    """Codes and numbers, beside what the farm calls its places and stations."""
    return [
        [
            seen.week.isoformat(), seen.method, harmless(line.label), harmless(line.facility),
            *(line.spot or ("", "")), "" if line.week.rate is None else round(line.week.rate, 2),
            line.week.at_least, "" if line.week.level is None else line.week.level, line.week.result,
            line.week.reason, "" if line.percent is None else line.percent,
        ]
        for line in seen.lines
    ]  # fmt: skip


def _board(
    request: HttpRequest,
    visit: Visit,
    ground: Ground,
    *,
    picture: PictureForm | None = None,
    typed: SheetTyped | None = None,
    rectangle: RectangleForm | None = None,
) -> HttpResponse:
    facilities = list(ground.facilities.values())
    sent = typed.sent if typed else {}
    outlines = [each.as_json() for each in outlines_of(ground.plan)]
    names = [name for name, _points in ground.sheet.outlines]
    told = PlanWords(_("Plan of {farm}").format(farm=visit.farm.name), _("The sheet on which the stations are placed."))
    context = {
        "visit": visit,
        "ground": ground,
        "sheet": drawn(ground.sheet, [], told)["wide"],
        "on": sent.get("on", ground.plan.id if ground.plan else ""),
        "outlines": sent.get("outlines") or json.dumps(outlines),
        "drawn": list(enumerate(names)),
        "places": [_place(station, ground, sent) for station in stations_of(visit.farm, visit.today)],
        "facilities": {str(facility.id): facility.name for facility in facilities},
        "picture": picture or PictureForm(),
        "rectangle": rectangle or RectangleForm(facilities=facilities),
        "errors": typed.errors if typed else [],
        "words": board_words(),
    }
    return render(request, "web/plan_edit.html", context, status=422 if picture or typed else 200)


def _place(station: Any, ground: Ground, sent: Any) -> dict[str, Any]:
    """A station with the two numbers of its place, as they were typed or as they are stored."""
    stored = typed_of(ground.spots.get(station.id))
    left, top = (sent.get(f"{side}-{station.id}", stored[place]) for place, side in enumerate(("left", "top")))
    return {"station": station, "left": left, "top": top}
