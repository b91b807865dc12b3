"""An adviser notes a call or a visit and the next step; the farm's people read what was noted."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from alerts.selectors import call_notes_of, steps_of_farms
from alerts.services import Noted, mark_step_done, note_call
from farms.access import Need
from farms.errors import Conflict, Forbidden
from server.web.doors import Visit, farm_page
from server.web.forms.call_note import CallNoteForm
from server.web.forms.monday import kept_query
from server.web.forms.refusals import accepted

SHOWN = 50


@farm_page(Need.READ)
@require_http_methods(["GET", "HEAD", "POST"])
def call_notes(request: HttpRequest, visit: Visit) -> HttpResponse:
    """The farm's people and its advisers read; an adviser writes. `list`: the Monday list that somebody came from."""
    given = request.POST if request.method == "POST" else None
    advises = visit.role.name == "adviser"
    if given is not None and not advises:
        raise Forbidden()
    form = CallNoteForm(given, today=visit.today)
    if form.is_valid() and accepted(form, lambda: _note(request, visit, form)):
        messages.success(request, _("It is noted for %(farm)s.") % {"farm": visit.farm.name})
        return _back(request, visit)
    context = {
        "visit": visit,
        "form": form if advises else None,
        "notes": call_notes_of(visit.farm)[:SHOWN],
        "step": steps_of_farms([visit.farm.id]).get(visit.farm.id),
        "list": (given or request.GET).get("list"),
    }
    return render(request, "web/call_notes.html", context, status=422 if form.errors else 200)


@farm_page(Need.MANAGE)
@require_POST
def step_done(request: HttpRequest, visit: Visit) -> HttpResponse:
    try:
        mark_step_done(farm=visit.farm, by=request.user, now=visit.now)
    except Conflict as refusal:
        messages.warning(request, str(refusal))
    else:
        messages.success(request, _("%(farm)s: the next step is done.") % {"farm": visit.farm.name})
    return _back(request, visit)


def _note(request: HttpRequest, visit: Visit, form: CallNoteForm) -> Any:
    return note_call(farm=visit.farm, noted=Noted(**form.cleaned_data), by=request.user, now=visit.now)


def _back(request: HttpRequest, visit: Visit) -> HttpResponse:
    """To the Monday list as it was, at the farm's line; or to the farm's notes for whoever came from there."""
    kept = request.POST.get("list")
    if kept is None:
        return redirect("call_notes", farm_id=visit.farm.id)
    query = kept_query(kept)
    return redirect(f"{reverse('monday')}{'?' if query else ''}{query}#farm-{visit.farm.id}")
