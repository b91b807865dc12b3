"""An open matter: what opened it, what happened since, and that somebody has seen it."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from alerts.selectors import alert_history, alerts_of
from alerts.services import mark_seen
from farms.access import Need, one_of
from farms.errors import Conflict
from server.web.doors import Visit, farm_page


@farm_page(Need.READ)
@require_http_methods(["GET", "HEAD", "POST"])
def alert(request: HttpRequest, visit: Visit, alert_id: UUID) -> HttpResponse:
    found = one_of(alerts_of(visit.farm), alert_id)
    if request.method != "POST":
        context = {"visit": visit, "alert": found, "history": list(alert_history(found))}
        return render(request, "web/alert.html", context)
    try:
        mark_seen(alert=found, actor=visit.actor, now=visit.now)
        messages.success(request, _("Marked as seen. It stays open until the counts end it."))
    except Conflict as refusal:
        messages.warning(request, str(refusal))
    return redirect("alert", farm_id=visit.farm.id, alert_id=found.id)
