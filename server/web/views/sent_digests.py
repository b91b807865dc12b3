"""A farm's weekly mails as they were written, each with what became of it. (The demo's mailbox is views/mail.py.)"""

from uuid import UUID

from csp.decorators import csp
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.clickjacking import xframe_options_sameorigin
from django.views.decorators.http import require_safe

from alerts.models import Digest
from alerts.selectors.sent_mails import digests_shown
from farms.access import Need, one_of
from server.web.doors import Visit, farm_page
from server.web.sent_mails import POLICY, framed, page_of


@farm_page(Need.MANAGE)
@require_safe
def sent_digests(request: HttpRequest, visit: Visit) -> HttpResponse:
    return render(request, "web/sent_digests.html", {"visit": visit, "page": page_of(request, _shown(visit))})


@farm_page(Need.MANAGE)
@require_safe
def sent_digest(request: HttpRequest, visit: Visit, digest_id: UUID) -> HttpResponse:
    context = {"visit": visit, "mail": one_of(_shown(visit), digest_id), "zone": visit.farm.time_zone}
    return render(request, "web/sent_digest.html", context)


@farm_page(Need.MANAGE)
@require_safe
@xframe_options_sameorigin
@csp(POLICY)
def sent_digest_html(_request: HttpRequest, visit: Visit, digest_id: UUID) -> HttpResponse:
    return framed(one_of(_shown(visit), digest_id))


def _shown(visit: Visit) -> QuerySet[Digest]:
    # Keys and farm phones may not manage: who comes in here is a person.
    return digests_shown(visit.farm, visit.who, visit.role)  # type: ignore[arg-type]
