"""The farm's phones: a one-time code, big and as a picture to read, and a switch to turn each one off."""

from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode
from uuid import UUID

import segno
from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from farms.access import Need, one_of
from farms.selectors import consents_of, members_of, tokens_of
from farms.services import make_phone_code, revoke_token
from server.web.doors import Visit, farm_page

if TYPE_CHECKING:
    from farms.models import ApiToken, Farm


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def phones(request: HttpRequest, visit: Visit) -> HttpResponse:
    """A POST makes a code and shows it here and never again; loading the page anew shows no code."""
    context: dict[str, Any] = {
        "visit": visit,
        "phones": [token for token in tokens_of(visit.farm) if token.scope == "count"],
    }
    context |= {"now": timezone.now(), "unvouched": _unvouched(visit.farm, context["phones"])}
    if request.method == "POST":
        # The real clock, as everywhere where something expires for safety's sake.
        _row, digits = make_phone_code(farm=visit.farm, by=request.user, now=timezone.now())
        context |= {"digits": digits, "picture": picture_of(digits), "address": settings.SITE_URL + reverse("phone")}
    return render(request, "web/phones.html", context)


@farm_page(Need.MANAGE)
@require_POST
def switch_off_phone(request: HttpRequest, visit: Visit, token_id: UUID) -> HttpResponse:
    token = one_of(tokens_of(visit.farm).filter(scope="count"), token_id)
    revoke_token(token=token, by=request.user, now=timezone.now())
    messages.success(request, _("%(name)s is switched off and can't send counts any more.") % {"name": token.name})
    return redirect("phones", farm_id=visit.farm.id)


def _unvouched(farm: "Farm", phones: "list[ApiToken]") -> "list[ApiToken]":
    """The phones still on that joined by a code of somebody who sees the farm no longer."""
    here = {each.user_id for each in members_of(farm)}
    here |= {each.adviser_id for each in consents_of(farm) if each.adviser_id and each.withdrawn_at is None}
    return [each for each in phones if each.is_live(timezone.now()) and each.made_by_id not in here]


def picture_of(digits: str) -> str:
    """A QR code (ISO/IEC 18004) of the page's address with the code filled in, as SVG without any style."""
    address = f"{settings.SITE_URL}{reverse('phone')}?{urlencode({'code': digits.replace(' ', '')})}"
    picture = segno.make(address, error="m", micro=False)
    drawn: str = picture.svg_inline(
        scale=6, border=4, svgclass="qr", lineclass=None, dark="#000", light="#fff", omitsize=True
    )
    return mark_safe(drawn)  # noqa: S308 - drawn from digits and our own address
