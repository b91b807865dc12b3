"""Where the farm keeps its dated cards: what was noted, and a form to note another place."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from farms.access import Need
from monitoring.selectors import cards_kept_of
from monitoring.services import note_cards_kept
from server.web.doors import Visit, farm_page
from server.web.forms.cards_kept import CardsKeptForm
from server.web.forms.refusals import accepted


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def cards_kept(request: HttpRequest, visit: Visit) -> HttpResponse:
    """A POST notes a place from a day on; earlier ones stay on record."""
    form = CardsKeptForm(request.POST or None, initial={"from_on": visit.today})
    if form.is_valid() and accepted(form, lambda: _note(visit, form)):
        messages.success(request, _("It is on record."))
        return redirect("cards_kept", farm_id=visit.farm.id)
    context = {"visit": visit, "form": form, "rows": cards_kept_of(visit.farm)}
    return render(request, "web/cards_kept.html", context, status=422 if form.errors else 200)


def _note(visit: Visit, form: CardsKeptForm) -> None:
    note_cards_kept(farm=visit.farm, **form.cleaned_data, actor=visit.actor, now=visit.now)
