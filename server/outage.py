"""What is answered while PostgreSQL or Valkey is gone: nothing was stored, try again."""

import logging

from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string

RETRY_AFTER = {"Retry-After": "30"}  # seconds
logger = logging.getLogger(__name__)


def unavailable(request: HttpRequest, error: Exception) -> HttpResponse:
    """503 as a page, drawn without database and cache; under /api/ `problem_pages` puts it into a problem's shape."""
    told = (request.method, request.path, getattr(request, "request_id", ""))
    logger.error("%s %s could not be answered (request %s)", *told, exc_info=error)
    return HttpResponse(render_to_string("503.html"), status=503, headers=RETRY_AFTER)
