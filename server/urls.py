"""All addresses of the site: the API, and the pages."""

from django.contrib import admin
from django.urls import include, path, re_path
from django.views.generic import RedirectView

from server.api.problems import nothing_here
from server.feeds import views as feeds
from server.health import healthz, readyz
from server.mail_events import mail_events
from server.metrics import metrics

urlpatterns = [
    path("healthz", healthz),
    path("readyz", readyz),
    path("metrics", metrics),
    # The office signs in as everybody does: the admin's own page would ask for a password that nobody has.
    path("office/login/", RedirectView.as_view(pattern_name="account_request_login_code", query_string=True)),
    path("office/", admin.site.urls),
    path("api/v1/", include("server.api.urls")),
    re_path(r"^api/", nothing_here),
    # The address is the key (server/secret_addresses.py keeps it out of logs).
    path("feeds/<str:key>/rounds.ics", feeds.rounds_feed, name="rounds_feed"),
    path("feeds/<str:key>/matters.atom", feeds.matters_feed, name="matters_feed"),
    path("mail-events/", mail_events, name="mail_events"),
    path("", include("server.web.urls")),
]
