"""What every page knows: whose it is, the languages, and the demo's day where the clock is moved."""

from datetime import date
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.utils import translation

from farms import clock


def site(request: HttpRequest) -> dict[str, Any]:
    """No query here: error pages are drawn after the request's transaction is broken."""
    return {
        "demo_today": demo_today(),
        "demo_mail": bool(settings.DEMO_MAIL_DIR),
        "languages": settings.LANGUAGES,
        "language": translation.get_language(),
        "who": getattr(request, "user", None),
    }


def demo_today() -> date | None:
    """The day at which the demo's clock stands; None where the real clock is used."""
    return clock.now().date() if settings.CLOCK_FILE else None
