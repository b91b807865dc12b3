"""The demo's mails, shown on a page. In any other installation this page does not exist."""

from pathlib import Path
from typing import Any

from csp.constants import NONE, SELF, UNSAFE_INLINE
from csp.decorators import csp
from django.conf import settings
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.clickjacking import xframe_options_sameorigin
from django.views.decorators.http import require_safe

from server.web.mails import Mail, mail_at, mails_in

PAGE = 40

# A mail brings its own styles and pictures and nothing else; it runs no script and is shown in our page's frame only.
MAIL_POLICY: dict[str, Any] = {
    "default-src": [NONE],
    "style-src": [UNSAFE_INLINE],
    "img-src": ["data:"],
    "frame-ancestors": [SELF],
    "sandbox": ["allow-top-navigation-by-user-activation"],
}


@require_safe
@never_cache
def mails(request: HttpRequest) -> HttpResponse:
    page = Paginator(mails_in(_folder()), PAGE).get_page(request.GET.get("page"))
    return render(request, "web/mails.html", {"page": page})


@require_safe
@never_cache
def mail(request: HttpRequest, name: str, number: int) -> HttpResponse:
    return render(request, "web/mail.html", {"mail": _mail(name, number)})


@require_safe
@never_cache
@xframe_options_sameorigin
@csp(MAIL_POLICY)
def mail_html(request: HttpRequest, name: str, number: int) -> HttpResponse:
    body = _mail(name, number).html
    # Links in the mail open the page around the frame.
    return HttpResponse(
        f'<base target="_top">{body}'
        if "<head>" not in body
        else body.replace("<head>", '<head><base target="_top">', 1)
    )


def _folder() -> Path:
    if not settings.DEMO_MAIL_DIR:
        raise Http404
    return Path(settings.DEMO_MAIL_DIR)


def _mail(name: str, number: int) -> Mail:
    found = mail_at(_folder(), name, number)
    if found is None:
        raise Http404
    return found
