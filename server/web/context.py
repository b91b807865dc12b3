"""What every page knows: whose it is, the languages, and the demo's day where the clock is moved."""

from datetime import date
from functools import partial
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.utils import translation

from farms import clock
from server.web.holder import holder_of


def site(request: HttpRequest) -> dict[str, Any]:
    """No query here: error pages are drawn after the request's transaction is broken."""
    return {
        "demo_today": demo_today(),
        "demo_mail": bool(settings.DEMO_MAIL_DIR),
        "languages": settings.LANGUAGES,
        "language": translation.get_language(),
        "who": getattr(request, "user", None),
        # Called by the pages that carry it; others are drawn without cookies being read.
        "holder": partial(holder_of, request),
    }


def demo_today() -> date | None:
    """The day at which the demo's clock stands; None where the real clock is used."""
    return clock.now().date() if settings.CLOCK_FILE else None
