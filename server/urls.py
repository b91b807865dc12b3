"""All addresses of the site: the API, and the pages."""

from django.urls import include, path, re_path

from server.api.problems import nothing_here
from server.health import healthz, readyz

urlpatterns = [
    path("healthz", healthz),
    path("readyz", readyz),
    path("api/v1/", include("server.api.urls")),
    re_path(r"^api/", nothing_here),
    path("", include("server.web.urls")),
]
