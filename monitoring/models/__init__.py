from monitoring.models.application import (
    Application,
    ApplicationCheck,
    ApplicationPeople,
    CertifierAnswer,
    OrganicMark,
    SprayerLink,
)
from monitoring.models.cards_kept import CardsKept
from monitoring.models.complaint import Complaint, ComplaintAnswer, ComplaintAnswerWords, ComplaintWords
from monitoring.models.imports import Import, ImportContent, ImportPart
from monitoring.models.own_table import OwnTable, OwnTableReading
from monitoring.models.photo import Photo, PhotoPicture
from monitoring.models.plan import Plan, PlanPicture
from monitoring.models.planned_work import PlannedStep, PlannedWork, WorkWords
from monitoring.models.product import CertificateAsked, Product
from monitoring.models.reading import Note, Reading, WeeklySummary
from monitoring.models.reentry import Reentry
from monitoring.models.region import Cohort, Contribution, HeldReport, RegionReport
from monitoring.models.round import Round, Skip
from monitoring.models.station import Placement, Siting, Station
from monitoring.models.walk import (
    Finding,
    FindingPhoto,
    FindingPicture,
    FindingStep,
    FindingStepWords,
    FindingWords,
    Walk,
)
from monitoring.models.weather import DailyTemperature, FarmTemperature
from monitoring.models.work import Work, WorkTakenBack

__all__ = [
    "Application",
    "ApplicationCheck",
    "ApplicationPeople",
    "CardsKept",
    "CertificateAsked",
    "CertifierAnswer",
    "Cohort",
    "Complaint",
    "ComplaintAnswer",
    "ComplaintAnswerWords",
    "ComplaintWords",
    "Contribution",
    "DailyTemperature",
    "FarmTemperature",
    "Finding",
    "FindingPhoto",
    "FindingPicture",
    "FindingStep",
    "FindingStepWords",
    "FindingWords",
    "HeldReport",
    "Import",
    "ImportContent",
    "ImportPart",
    "Note",
    "OrganicMark",
    "OwnTable",
    "OwnTableReading",
    "Photo",
    "PhotoPicture",
    "Placement",
    "Plan",
    "PlanPicture",
    "PlannedStep",
    "PlannedWork",
    "Product",
    "Reading",
    "Reentry",
    "RegionReport",
    "Round",
    "Siting",
    "Skip",
    "SprayerLink",
    "Station",
    "Walk",
    "WeeklySummary",
    "Work",
    "WorkTakenBack",
    "WorkWords",
]
