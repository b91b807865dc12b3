"""No round this week: the next one is named, cards stay up, and nothing is overdue before."""

from datetime import timedelta

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from farms.access import Need
from monitoring.selectors import next_round_due
from monitoring.services import skip_round
from server.web.doors import Visit, farm_page
from server.web.forms.farm import SkipForm
from server.web.forms.refusals import accepted


@farm_page(Need.RECORD)
@require_http_methods(["GET", "HEAD", "POST"])
def skip(request: HttpRequest, visit: Visit) -> HttpResponse:
    due = next_round_due(visit.farm, visit.today)
    # An overdue round is skipped as of its own day: the reminder that it is late ends with it.
    skipped = min(due, visit.today) if due else visit.today
    form = SkipForm(request.POST or None, today=visit.today, initial={"next_round_on": visit.today + timedelta(days=7)})
    if form.is_valid() and accepted(
        form,
        lambda: skip_round(farm=visit.farm, skipped_on=skipped, actor=visit.actor, now=visit.now, **form.cleaned_data),
    ):
        messages.success(request, _("The next round is on the day you named. Cards and traps stay up until then."))
        return redirect("farm", farm_id=visit.farm.id)
    context = {"visit": visit, "form": form, "due": due}
    return render(request, "web/skip.html", context, status=422 if form.errors else 200)
