"""One-time links for hired sprayers: made and taken back by the farm, each address shown once."""

from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from farms.access import Need, one_of
from farms.errors import Conflict
from monitoring.selectors import sprayer_links_of
from monitoring.services import make_sprayer_link, withdraw_sprayer_link
from server.web.doors import Visit, farm_page


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def sprayer_links(request: HttpRequest, visit: Visit) -> HttpResponse:
    """A POST makes a link and shows its address here and never again, so this page is its answer."""
    now, address = timezone.now(), ""
    if request.method == "POST":
        try:
            _link, key = make_sprayer_link(farm=visit.farm, by=visit.who, actor=visit.actor, now=now)  # type: ignore[arg-type]
            address = settings.SITE_URL + reverse("spray_record", args=[key])
        except Conflict as refusal:
            messages.error(request, str(refusal))
    context = {"visit": visit, "links": sprayer_links_of(visit.farm, now), "address": address}
    return render(request, "web/sprayer_links.html", context)


@farm_page(Need.MANAGE)
@require_POST
def withdraw_sprayer_link_here(request: HttpRequest, visit: Visit, sprayer_link_id: UUID) -> HttpResponse:
    link = one_of(sprayer_links_of(visit.farm, timezone.now()), sprayer_link_id)
    withdraw_sprayer_link(link=link, actor=visit.actor, now=visit.now)
    messages.success(request, _("The link is taken back. It opens nothing any more."))
    return redirect("sprayer_links", farm_id=visit.farm.id)
