"""A paper sheet typed in: who counted and who typed, on which days, and one row a station."""

from datetime import date

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from farms.access import Need
from farms.selectors import people_of
from server.web.doors import Visit, farm_page
from server.web.forms.count import TypedForm
from server.web.round_form import RoundForm, blank_round, typed_round
from server.web.views.count import take


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def paper(request: HttpRequest, visit: Visit) -> HttpResponse:
    """The sheet's day comes first (?day=), since it says what hung then; the grid comes with it."""
    people = list(people_of(visit.farm))
    if request.method != "POST":
        day = _asked(request) or visit.today
        own = next((person.id for person in people if person.user_id == visit.who.id), None)
        typing = TypedForm(people=people, initial={"typed_by": own or "", "typed_on": visit.today})
        return _page(request, visit, blank_round(visit.farm, day, compact=True), typing, day)
    form = typed_round(visit.farm, request.POST, _asked(request) or visit.today, compact=True)
    typing = TypedForm(request.POST, people=people)
    if all([form.is_valid(), typing.is_valid()]) and take(form, visit, source="paper", **typing.typed()):
        messages.success(request, _("The sheet is stored."))
        return redirect("round", farm_id=visit.farm.id, round_id=form.walk.cleaned_data["round_id"])
    return _page(request, visit, form, typing, form.lines[0].line.day if form.lines else visit.today, status=422)


def _asked(request: HttpRequest) -> date | None:
    try:
        return date.fromisoformat(request.GET.get("day", ""))
    except ValueError:
        return None


def _page(
    request: HttpRequest, visit: Visit, form: RoundForm, typing: TypedForm, day: date, status: int = 200
) -> HttpResponse:
    context = {"visit": visit, "walk": form.walk, "lines": form.lines, "typing": typing, "day": day}
    context |= {"wrong": form.wrong, "refused": status != 200}
    return render(request, "web/paper.html", context, status=status)
