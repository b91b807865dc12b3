"""Keys for programs: made and switched off by the owner; each is shown once."""

from datetime import timedelta
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from farms.access import Need, one_of
from farms.errors import FlyroundError
from farms.selectors import tokens_of
from farms.services import make_token, revoke_token
from server.web.doors import Visit, farm_page
from server.web.forms.farm import KeyForm
from server.web.forms.refusals import show_refusal


@farm_page(Need.OWN)
@require_http_methods(["GET", "HEAD", "POST"])
def keys(request: HttpRequest, visit: Visit) -> HttpResponse:
    """A POST makes a key and shows it here and never again, so this page is its answer and not a redirect."""
    form = KeyForm(request.POST or None)
    key = _made(request, visit, form) if form.is_valid() else ""
    live = [token for token in tokens_of(visit.farm) if token.scope != "count"]
    context = {"visit": visit, "form": form, "keys": live, "key": key, "now": timezone.now()}
    return render(request, "web/keys.html", context, status=422 if form.errors else 200)


def _made(request: HttpRequest, visit: Visit, form: KeyForm) -> str:
    now, wanted = timezone.now(), form.cleaned_data
    expires = now + timedelta(days=int(wanted["days"]))
    try:
        _token, key = make_token(
            farm=visit.farm, name=wanted["name"], scope=wanted["scope"], by=request.user, expires_at=expires, now=now
        )
    except FlyroundError as refusal:
        show_refusal(form, refusal)
        return ""
    return key


@farm_page(Need.OWN)
@require_POST
def switch_off_key(request: HttpRequest, visit: Visit, token_id: UUID) -> HttpResponse:
    token = one_of(tokens_of(visit.farm).exclude(scope="count"), token_id)
    revoke_token(token=token, by=request.user, now=timezone.now())
    messages.success(request, _("The key for %(name)s is switched off.") % {"name": token.name})
    return redirect("keys", farm_id=visit.farm.id)
