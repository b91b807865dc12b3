from alerts.models.alert import Alert, AlertEvent, AlertNote, AlertWork
from alerts.models.assessment import Assessment
from alerts.models.borrowed import BorrowedFigures
from alerts.models.call_note import CallNote
from alerts.models.check import CheckFailure, CheckRun, ListedRise
from alerts.models.level import FarmLevel, GroupLevel
from alerts.models.mail_choice import (
    ChoiceKey,
    CoordinatorReportChoice,
    DigestChoice,
    MondayListChoice,
    RegionBulletinChoice,
)
from alerts.models.mail_day import MailDay
from alerts.models.outbox import CoordinatorReport, Digest, MondayList, RegionBulletin
from alerts.models.rounds_told import RoundsTold
from alerts.models.rule import GroupRule
from alerts.models.running import Ring, Running
from alerts.models.stopped_address import StoppedAddress
from alerts.models.text_message import TextMessage, TextNumber
from alerts.models.told import Told
from alerts.models.webhook import Webhook, WebhookDelivery, WebhookSecret

__all__ = [
    "Alert",
    "AlertEvent",
    "AlertNote",
    "AlertWork",
    "Assessment",
    "BorrowedFigures",
    "CallNote",
    "CheckFailure",
    "CheckRun",
    "ChoiceKey",
    "CoordinatorReport",
    "CoordinatorReportChoice",
    "Digest",
    "DigestChoice",
    "FarmLevel",
    "GroupLevel",
    "GroupRule",
    "ListedRise",
    "MailDay",
    "MondayList",
    "MondayListChoice",
    "RegionBulletin",
    "RegionBulletinChoice",
    "Ring",
    "RoundsTold",
    "Running",
    "StoppedAddress",
    "TextMessage",
    "TextNumber",
    "Told",
    "Webhook",
    "WebhookDelivery",
    "WebhookSecret",
]
