"""Addresses of the API. Everything of a farm lies under its id."""

from typing import Any

from django.urls import include, path
from rest_framework.routers import SimpleRouter

from server.api.v1.consents import Consents
from server.api.v1.facilities import Facilities
from server.api.v1.farms import Farms, OneFarm
from server.api.v1.me import Me
from server.api.v1.people import People
from server.api.v1.phones import Phone, PhoneCodes
from server.api.v1.regions import RegionReports, Regions
from server.api.v1.seasons import Seasons
from server.api.v1.tokens import Tokens

ON_FARM: dict[str, Any] = {
    "facilities": Facilities,
    "seasons": Seasons,
    "people": People,
    "consents": Consents,
    "tokens": Tokens,
    "phone-codes": PhoneCodes,
}

router = SimpleRouter(trailing_slash=False, use_regex_path=False)
router.register("farms", Farms, basename="farm")
router.register("regions", Regions, basename="region")
router.register("regions/<uuid:region_id>/reports", RegionReports, basename="region-report")
for noun, view in ON_FARM.items():
    router.register(f"farms/<uuid:farm_id>/{noun}", view, basename=f"farm-{noun}")

urlpatterns = [
    path("me", Me.as_view({"get": "retrieve"}), name="me"),
    path("phone", Phone.as_view({"post": "create"}), name="phone"),
    path("farms/<uuid:farm_id>", OneFarm.as_view({"get": "retrieve"}), name="farm-detail"),
    path("", include(router.urls)),
]
