"""All addresses of the site: sign-in, the API, and the pages."""

from django.urls import include, path

urlpatterns = [
    path("sign-in/", include("allauth.urls")),
]
