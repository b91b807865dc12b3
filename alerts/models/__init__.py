from alerts.models.alert import Alert, AlertEvent
from alerts.models.assessment import Assessment
from alerts.models.borrowed import BorrowedFigures
from alerts.models.check import CheckFailure, CheckRun, ListedRise
from alerts.models.level import FarmLevel, GroupLevel
from alerts.models.outbox import Digest, MondayList

__all__ = [
    "Alert",
    "AlertEvent",
    "Assessment",
    "BorrowedFigures",
    "CheckFailure",
    "CheckRun",
    "Digest",
    "FarmLevel",
    "GroupLevel",
    "ListedRise",
    "MondayList",
]
