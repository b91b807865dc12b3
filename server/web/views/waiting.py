"""What waits on a phone without signal: a page that its scripts fill, and what they ask before they send."""

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_safe

from farms import clock
from farms.access import FARM_ROLES, Need, Who, roles_of
from server.web.doors import who_asks
from server.web.holder import holder_of


@never_cache
@require_safe
def waiting(request: HttpRequest) -> HttpResponse:
    """The frame alone: what waits lies on the phone, also for somebody who has signed out."""
    return render(request, "web/waiting.html")


@never_cache
@gzip_page
@require_safe
def waiting_session(request: HttpRequest) -> HttpResponse:
    """Who is signed in, the token that a form needs, our clock, and the farms on which this person counts."""
    who = who_asks(request)
    known = {
        # A phone that was switched off still has its cookie: it is nobody here, and is told so.
        "holder": holder_of(request) if who is not None else "",
        "switched_off": who is None and bool(holder_of(request)),
        # To nobody none is given: its cookie could take the place of one that a sign-in, asked for at the same moment,
        # has in its form.
        "token": get_token(request) if who is not None else "",
        "now": clock.now().isoformat(),
        "farms": _farms(who) if who is not None else [],
    }
    return JsonResponse(known)


def _farms(who: Who) -> list[dict[str, object]]:
    """`keep` says that the round's page is kept on the phone at once: one's own farms, not all that one advises."""
    return [
        {
            "id": str(farm.id),
            "count": reverse("count", args=[farm.id]),
            "keep": role in FARM_ROLES.values() or Need.READ not in role.may,
            "may_delete": Need.MANAGE in role.may,
        }
        for farm, role in roles_of(who)
        if Need.COUNT in role.may
    ]
