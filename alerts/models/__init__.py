from alerts.models.alert import Alert, AlertEvent
from alerts.models.assessment import Assessment
from alerts.models.check import CheckFailure, CheckRun
from alerts.models.level import FarmLevel, GroupLevel
from alerts.models.outbox import Digest, MondayList

__all__ = [
    "Alert",
    "AlertEvent",
    "Assessment",
    "CheckFailure",
    "CheckRun",
    "Digest",
    "FarmLevel",
    "GroupLevel",
    "MondayList",
]
