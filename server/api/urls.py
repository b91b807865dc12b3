"""Addresses of the API. Everything of a farm lies under its id."""

from typing import Any

from django.urls import include, path, re_path
from rest_framework.routers import SimpleRouter

from server.api.documentation import Documentation, openapi
from server.api.v1.action_levels import ActionLevels, GroupActionLevels
from server.api.v1.adviser_offers import AdviserOffers, Promises
from server.api.v1.advisers import Advisers
from server.api.v1.agreement import Acceptances, AgreementOfFarm, TermsOfGroup
from server.api.v1.alerts import Alerts
from server.api.v1.applications import Applications
from server.api.v1.assessments import Assessments
from server.api.v1.borrowed_figures import BorrowedFiguresOfFarm
from server.api.v1.cards_kept import CardsKeptRecords
from server.api.v1.closures import Closures, RegionClosures
from server.api.v1.complaints import Complaints
from server.api.v1.consents import Consents
from server.api.v1.development import DevelopmentOfFarm
from server.api.v1.erasures import Erasures, OwnErasure
from server.api.v1.exports import Exports
from server.api.v1.exports import views as export_views
from server.api.v1.facilities import Facilities
from server.api.v1.farms import Farms, OneFarm
from server.api.v1.feeds import Feeds
from server.api.v1.group_rules import GroupRulesOfGroup
from server.api.v1.guests import Guests
from server.api.v1.heads import HeadOfFarm, SigningKeys
from server.api.v1.imports import BulkReadings, Imports
from server.api.v1.letters import FarmLetter, GroupLetters
from server.api.v1.log import Log
from server.api.v1.mail_choices import MailChoices
from server.api.v1.mail_days import MailDays
from server.api.v1.mails import CoordinatorReports, Mails, MondayLists
from server.api.v1.me import Me
from server.api.v1.organic import CertifierAnswers, OrganicMarks
from server.api.v1.own_past import OwnPastOfFarm
from server.api.v1.people import People
from server.api.v1.phones import Phone, PhoneCodes
from server.api.v1.photos import Photos, PictureOfPhoto
from server.api.v1.plan import PlanOfFarm, PlanPictureOfFarm
from server.api.v1.planned_works import PlannedWorks
from server.api.v1.precision import PrecisionOfFarm
from server.api.v1.products import Products
from server.api.v1.readings import Readings
from server.api.v1.reentries import Reentries
from server.api.v1.regions import RegionPlaces, RegionReports, RegionReportsAsCsv, Regions
from server.api.v1.retention import RetentionOfFarm, RetentionOfGroup
from server.api.v1.rounds import Rounds, Skips
from server.api.v1.running import RunningOfGroup
from server.api.v1.season_report import VIEWS as REPORTS
from server.api.v1.seasons import Seasons
from server.api.v1.sprayer_links import SprayerLinks
from server.api.v1.station_effects import StationEffectsOfFarm
from server.api.v1.stations import RoundSheet, Stations
from server.api.v1.temperatures import RegionTemperatures, Temperatures
from server.api.v1.tokens import Tokens
from server.api.v1.told import Tellings
from server.api.v1.trend import TrendOfFarm
from server.api.v1.visits import GroupVisitRulesView, Visits
from server.api.v1.walks import FindingPhotos, Findings, PictureOfFinding, Walks
from server.api.v1.webhooks import Webhooks
from server.api.v1.weeks import Weeks
from server.api.v1.work_review import WorkReviewOfFarm
from server.api.v1.works import Works

ON_FARM: dict[str, Any] = {
    "facilities": Facilities,
    "stations": Stations,
    "round-sheet": RoundSheet,
    "rounds": Rounds,
    "skips": Skips,
    "photos": Photos,
    "readings/bulk": BulkReadings,
    "readings": Readings,
    "imports": Imports,
    "exports": Exports,
    "weeks": Weeks,
    "works": Works,
    "planned-works": PlannedWorks,
    "reentries": Reentries,
    "applications": Applications,
    "sprayer-links": SprayerLinks,
    "organic-marks": OrganicMarks,
    "certifier-answers": CertifierAnswers,
    "walks": Walks,
    "findings": Findings,
    "finding-photos": FindingPhotos,
    "complaints": Complaints,
    "cards-kept": CardsKeptRecords,
    "temperatures": Temperatures,
    "assessments": Assessments,
    "alerts": Alerts,
    "action-levels": ActionLevels,
    "mail-days": MailDays,
    "seasons": Seasons,
    "people": People,
    "consents": Consents,
    "agreement/acceptances": Acceptances,
    "adviser-offers": AdviserOffers,
    "promises": Promises,
    "closures": Closures,
    "erasures": Erasures,
    "retention": RetentionOfFarm,
    "visits": Visits,
    "told": Tellings,
    "tokens": Tokens,
    "webhooks": Webhooks,
    "phone-codes": PhoneCodes,
    "log": Log,
    "mails": Mails,
    "region-places": RegionPlaces,
}

router = SimpleRouter(trailing_slash=False, use_regex_path=False)
router.register("farms", Farms, basename="farm")
router.register("me/feeds", Feeds, basename="feed")
router.register("me/mail-choices", MailChoices, basename="mail-choice")
router.register("me/monday-lists", MondayLists, basename="monday-list")
router.register("me/coordinator-reports", CoordinatorReports, basename="coordinator-report")
router.register("signing-keys", SigningKeys, basename="signing-key")
router.register("regions", Regions, basename="region")
router.register("regions/<uuid:region_id>/reports", RegionReports, basename="region-report")
router.register("regions/<uuid:region_id>/temperatures", RegionTemperatures, basename="region-temperature")
router.register("regions/<uuid:region_id>/closures", RegionClosures, basename="region-closure")
router.register("groups/<uuid:group_id>/action-levels", GroupActionLevels, basename="group-action-level")
router.register("groups/<uuid:group_id>/rules", GroupRulesOfGroup, basename="group-rule")
router.register("groups/<uuid:group_id>/visit-rules", GroupVisitRulesView, basename="group-visit-rules")
router.register("groups/<uuid:group_id>/retention", RetentionOfGroup, basename="group-retention")
router.register("groups/<uuid:group_id>/terms", TermsOfGroup, basename="group-terms")
router.register("groups/<uuid:group_id>/products", Products, basename="group-product")
router.register("groups/<uuid:group_id>/guests", Guests, basename="group-guest")
router.register("groups/<uuid:group_id>/advisers", Advisers, basename="group-adviser")
for noun, view in ON_FARM.items():
    router.register(f"farms/<uuid:farm_id>/{noun}", view, basename=f"farm-{noun.replace('/', '-')}")

urlpatterns = [
    path("openapi.yaml", openapi, name="openapi"),
    re_path(r"^docs/?$", Documentation.as_view(), name="api-docs"),
    path(
        "me/erasure",
        OwnErasure.as_view({"get": "retrieve", "post": "create", "delete": "destroy"}),
        name="own-erasure",
    ),
    path("me", Me.as_view({"get": "retrieve"}), name="me"),
    path("groups/<uuid:group_id>/running", RunningOfGroup.as_view({"get": "retrieve"}), name="group-running"),
    path(
        "regions/<uuid:region_id>/reports.csv",
        RegionReportsAsCsv.as_view({"get": "retrieve"}),
        name="region-report-csv",
    ),
    path("phone", Phone.as_view({"post": "create"}), name="phone"),
    path("farms/<uuid:farm_id>", OneFarm.as_view({"get": "retrieve", "patch": "partial_update"}), name="farm-detail"),
    path("farms/<uuid:farm_id>/development", DevelopmentOfFarm.as_view({"get": "retrieve"}), name="farm-development"),
    path("farms/<uuid:farm_id>/agreement", AgreementOfFarm.as_view({"get": "retrieve"}), name="farm-agreement"),
    path("farms/<uuid:farm_id>/work-review", WorkReviewOfFarm.as_view({"get": "retrieve"}), name="farm-work-review"),
    path("farms/<uuid:farm_id>/plan", PlanOfFarm.as_view({"get": "retrieve"}), name="farm-plan"),
    path("farms/<uuid:farm_id>/plan/picture", PlanPictureOfFarm.as_view({"get": "retrieve"}), name="farm-plan-picture"),
    path("farms/<uuid:farm_id>/head", HeadOfFarm.as_view({"get": "retrieve"}), name="farm-head"),
    path("farms/<uuid:farm_id>/trend", TrendOfFarm.as_view({"get": "retrieve"}), name="farm-trend"),
    path("farms/<uuid:farm_id>/precision", PrecisionOfFarm.as_view({"get": "retrieve"}), name="farm-precision"),
    path(
        "farms/<uuid:farm_id>/borrowed-figures",
        BorrowedFiguresOfFarm.as_view({"get": "retrieve"}),
        name="farm-borrowed-figures",
    ),
    path(
        "farms/<uuid:farm_id>/finding-photos/<uuid:finding_photo_id>/picture",
        PictureOfFinding.as_view({"get": "retrieve"}),
        name="finding-picture",
    ),
    path(
        "farms/<uuid:farm_id>/photos/<uuid:photo_id>/picture",
        PictureOfPhoto.as_view({"get": "retrieve"}),
        name="photo-picture",
    ),
    path("farms/<uuid:farm_id>/letter", FarmLetter.as_view({"get": "retrieve"}), name="farm-letter"),
    path("groups/<uuid:group_id>/letters", GroupLetters.as_view({"get": "retrieve"}), name="group-letters"),
    path("farms/<uuid:farm_id>/own-past", OwnPastOfFarm.as_view({"get": "retrieve"}), name="farm-own-past"),
    path(
        "farms/<uuid:farm_id>/stations/effects",
        StationEffectsOfFarm.as_view({"get": "retrieve"}),
        name="farm-station-effects",
    ),
    *(
        path(
            f"farms/<uuid:farm_id>/exports/{file}",
            view.as_view({"get": "retrieve"}),
            name=f"export-{file.replace('.', '-', 1)}",
        )
        for file, view in export_views()
    ),
    *(
        path(f"farms/<uuid:farm_id>/{file}", view.as_view({"get": "retrieve"}), name=f"farm-{file.replace('.', '-')}")
        for file, view in REPORTS.items()
    ),
    path("", include(router.urls)),
]
