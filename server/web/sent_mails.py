"""A mail as the HTML that went out: shown in a frame of its own, where it runs and fetches nothing."""

from base64 import b64encode
from typing import Any

from csp.constants import NONE, SELF, UNSAFE_INLINE
from django.core.paginator import Page, Paginator
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse

from alerts.delivery.parts import CHART_ID
from alerts.models.outbox import Mail
from alerts.selectors.sent_mails import CONTENT

# Its own inline styles and its picture inside; no script, no form, nothing from anywhere, in our own pages only.
POLICY: dict[str, Any] = {
    "default-src": [NONE],
    "style-src": [UNSAFE_INLINE],
    "img-src": ["data:"],
    "base-uri": [NONE],
    "form-action": [NONE],
    "frame-ancestors": [SELF],
    "sandbox": ["allow-top-navigation-by-user-activation"],
}


A_PAGE = 30


def page_of(request: HttpRequest, mails: QuerySet[Any]) -> Page[Any]:
    """The page of a list of mails that is asked for; what is in them isn't read."""
    return Paginator(mails.defer(*CONTENT), A_PAGE).get_page(request.GET.get("page"))


def framed(mail: Mail) -> HttpResponse:
    """The stored HTML to the letter, but for two things: the picture stands in it, and links open around the frame.

    The secret address that its reader got was put in when it left and is stored nowhere; here it is the plain page's.
    """
    html = mail.html.replace("<head>", '<head><base target="_top">', 1)
    if mail.picture:
        html = html.replace(f"cid:{CHART_ID}", f"data:image/png;base64,{b64encode(bytes(mail.picture)).decode()}")
    return HttpResponse(html)
