"""What a browser needs to work without signal: the service worker, the manifest, and the page that it then shows."""

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.templatetags.static import static
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from server.web.worker_script import worker_script

# flyround.css, --paper.
PAPER = "#faf7f0"
ICONS = (("icon-192.png", 192, "any"), ("icon-512.png", 512, "any"), ("icon-maskable-512.png", 512, "maskable"))


@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """From the site's root, since a worker may only answer for what lies below it; asked anew each time."""
    return HttpResponse(
        worker_script(), content_type="text/javascript; charset=utf-8", headers={"Cache-Control": "no-cache"}
    )


@require_safe
def manifest(request: HttpRequest) -> HttpResponse:
    """With it the site can be put on a phone's first screen."""
    icons = [
        {
            "src": static(f"web/offline/{name}"),
            "sizes": f"{side}x{side}",
            "type": "image/png",
            "purpose": purpose,
        }
        for name, side, purpose in ICONS
    ]
    about = {
        "name": "Flyround",
        "description": _("Counting flies on dairies, together"),
        "id": "/",
        "start_url": "/",
        "scope": "/",
        "display": "standalone",
        "background_color": PAPER,
        "theme_color": PAPER,
        "icons": icons,
    }
    return JsonResponse(about, content_type="application/manifest+json", headers={"Cache-Control": "no-cache"})


@never_cache
@require_safe
def without_signal(request: HttpRequest) -> HttpResponse:
    """Kept on the phone, and shown there in place of a page that can't be reached."""
    return render(request, "web/without_signal.html")
