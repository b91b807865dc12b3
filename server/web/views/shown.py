"""How things are shown to whoever asks: temperatures and days, on pages, in mails and on charts."""

from django.contrib import messages
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.cache import add_never_cache_headers
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods
from django.views.decorators.vary import vary_on_cookie

from farms.services import choose_shown
from farms.showing import showing
from server.web.doors import who_asks
from server.web.forms.shown import ShownForm
from server.web.shown import choice_of, keep_choice, shown_here


@vary_on_cookie
@require_http_methods(["GET", "HEAD", "POST"])
def shown(request: HttpRequest) -> HttpResponse:
    """For people who are signed in and for farm phones; everybody else has to sign in."""
    if who_asks(request) is None:
        return redirect_to_login(request.get_full_path())
    degrees, days = choice_of(request)
    form = ShownForm(request.POST or None, initial={"degrees": degrees, "days": days})
    if request.method == "POST" and form.is_valid():
        return _kept(request, **form.cleaned_data)
    with showing(shown_here(request)):
        response = render(request, "web/shown.html", {"form": form}, status=422 if form.errors else 200)
    add_never_cache_headers(response)
    return response


def _kept(request: HttpRequest, degrees: str, days: str) -> HttpResponse:
    response = redirect("shown")
    if request.user.is_authenticated:
        choose_shown(user=request.user, degrees=degrees, days=days)
        messages.success(request, _("Noted. It holds for the next mails, too."))
    else:
        keep_choice(response, degrees, days)
        messages.success(request, _("Noted, for this phone."))
    return response
