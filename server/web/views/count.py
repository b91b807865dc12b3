"""A round counted on a phone: one page with a big number a station, and at the end what it says.

Without scripts it is a long page; with them (static/web/round/) one station at a time.
"""

from typing import TYPE_CHECKING
from uuid import UUID

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_safe

from farms.access import Need, one_of
from farms.errors import Conflict, Invalid
from farms.selectors import people_of
from monitoring.selectors import rounds_of
from monitoring.services import record_round
from server.api.problems import Problem
from server.web.doors import Visit, farm_page
from server.web.holder import initials_of
from server.web.kept_out import kept_out_told, places_kept_out
from server.web.leg_verdict import plan_legs
from server.web.phone_clock import day_counted
from server.web.round_end import end_of
from server.web.round_facts import facts_of
from server.web.round_form import RoundForm, blank_round, typed_round
from server.web.views.photos import photo_form

if TYPE_CHECKING:
    from monitoring.models import Round

NOTHING_TYPED = _("Nothing was typed. Type at least one number, say why there is none, or say what hangs now.")

# What steps.js imports, asked for with the page: found one after the other they would cost a slow line a wait each.
MODULES = tuple(
    f"web/round/{name}.js"
    for name in (
        "animals", "arrange", "cups", "end", "end-page", "fields", "jump", "legs", "numbers", "read-aloud",
        "sight", "undo",
    )
)  # fmt: skip


@farm_page(Need.COUNT)
@require_http_methods(["GET", "HEAD", "POST"])
def count(request: HttpRequest, visit: Visit) -> HttpResponse:
    """Show the stations in walking order; a round that was begun goes on under its own id (?round=)."""
    if request.method != "POST":
        return _page(request, visit, _begin(request, visit))
    form = typed_round(visit.farm, request.POST, visit.today)
    stored = _take_by_clock(form, visit) if form.is_valid() else None
    if request.accepts("text/html"):
        if stored is None:
            return _page(request, visit, form, status=422)
        return redirect("round_end", farm_id=visit.farm.id, round_id=stored.id)
    # The queue of a phone, which keeps what was refused.
    if stored is None:
        return Problem.plain(422, errors=form.refusals).response(request)
    end = reverse("round_end", args=[visit.farm.id, stored.id])
    return JsonResponse({"round": str(stored.id), "end": end}, status=201 if stored.is_new else 200)


def _take_by_clock(form: RoundForm, visit: Visit) -> "Round | None":
    """Take a round from a phone, whose clock may be wrong: it is judged on the day on which it was counted."""
    found = form.walk.cleaned_data
    stored_on = rounds_of(visit.farm).filter(id=found["round_id"]).values_list("walked_on", flat=True).first()
    found["walked_on"] = day_counted(found, zone=visit.farm.time_zone, now=visit.now, stored_on=stored_on)
    return take(form, visit, source="phone" if visit.is_phone else "form")


def take(form: RoundForm, visit: Visit, *, source: str, **typed: object) -> "Round | None":
    """Hand a round to the service: the round where it was taken, None where the form now says why not."""
    sent = form.sent(source, **typed)
    if not (sent.readings or sent.hung or sent.notes):
        form.walk.add_error(None, NOTHING_TYPED)
        return None
    try:
        return record_round(farm=visit.farm, sent=sent, actor=visit.actor, now=visit.now)
    except (Invalid, Conflict) as refusal:
        form.refuse(refusal)
        return None


@farm_page(Need.COUNT)
@require_safe
def round_end(request: HttpRequest, visit: Visit, round_id: UUID) -> HttpResponse:
    """What the round says, for whoever walked it: each building's mean, its action level, and one place to look."""
    found = one_of(rounds_of(visit.farm), round_id)
    context = {"visit": visit, "round": found, "photo_form": photo_form(visit), **end_of(visit.farm, found)}
    return render(request, "web/round_end.html", context)


def _begin(request: HttpRequest, visit: Visit) -> RoundForm:
    begun, counter = request.GET.get("round", ""), None
    if not visit.is_phone:
        own = people_of(visit.farm).filter(user_id=visit.who.id).first()
        counter = own.id if own else None
    round_id, day = None, visit.today
    if begun:
        found = one_of(rounds_of(visit.farm), _as_id(begun))
        round_id, day, counter = found.id, found.walked_on, found.counted_by
    return blank_round(visit.farm, day, round_id=round_id, counted_by=counter, kept_out=places_kept_out(visit))


def _as_id(text: str) -> UUID:
    """An id as it stands in an address; one that nobody has where it is none."""
    try:
        return UUID(text)
    except ValueError:
        return UUID(int=0)


def _page(request: HttpRequest, visit: Visit, form: RoundForm, *, status: int = 200) -> HttpResponse:
    legs = plan_legs(visit.farm, form.lines)
    shown = {"legs": legs, "walk": form.walk, "lines": form.lines, "wrong": form.wrong, "modules": MODULES}
    lines = [line.line for line in form.lines]
    day = lines[0].day if lines else visit.today
    facts = facts_of(visit.farm, lines, day, _as_id(form.round_id))
    context = {"visit": visit, "refused": status != 200, "kept_out": kept_out_told(visit), "facts": facts, **shown}
    context["initials"] = "" if visit.is_phone else initials_of(str(visit.who))
    return render(request, "web/count.html", context, status=status)
