"""The API's document and its browsable form: served from the checkout, nothing fetched from elsewhere."""

from pathlib import Path

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_safe
from drf_spectacular.views import SpectacularSwaggerSplitView

# Written by `manage.py spectacular --file server/api/openapi.yaml`; a test says when that is due.
DOCUMENT = Path(__file__).with_name("openapi.yaml")


@require_safe
def openapi(request: HttpRequest) -> HttpResponse:
    """The OpenAPI 3.1 document."""
    return HttpResponse(DOCUMENT.read_bytes(), content_type="application/yaml")


class Documentation(SpectacularSwaggerSplitView):
    """The document to browse and try out. Its script has an address of its own, so the page needs none inline."""

    template_name = "api/documentation.html"
    authentication_classes = ()
    permission_classes = ()

    def _get_schema_url(self, request: HttpRequest) -> str:
        return reverse("openapi")
