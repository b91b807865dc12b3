"""A one-time sign-in link. Opening it changes nothing, since mail programs open links too: the button signs in."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from farms.errors import FlyroundError
from farms.services import use_sign_in_link
from server.web.limits import tried_too_often
from server.web.sign_in import enter, speak


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in_link(request: HttpRequest, key: str) -> HttpResponse:
    if request.method != "POST":
        return render(request, "web/sign_in_link.html")
    if tried_too_often(request, "sign-in-link", limit=30):
        return render(request, "429.html", status=429)
    try:
        user = use_sign_in_link(key=key, now=timezone.now())
    except FlyroundError as refusal:
        return render(request, "web/sign_in_link.html", {"refusal": str(refusal)}, status=410)
    enter(request, user, way="link")
    response = redirect("home")
    speak(response, user.language)
    return response
