"""What is written about alerts by a person. The caller has come through `farms.access` and opened the transaction."""

from alerts.services.adviser import let_adviser_leave
from alerts.services.alert import (
    AlertClosed,
    NoteTooLong,
    PutOffTooFar,
    WorkBeforeAlert,
    acknowledge,
    link_work,
    mark_seen,
    snooze,
)
from alerts.services.levels import (
    LevelFromThePast,
    LevelNotAboveZero,
    LevelWithoutReason,
    MethodUnknown,
    NewLevel,
    NothingToTakeBack,
    TakenBack,
    set_farm_level,
    set_group_level,
    take_farm_level_back,
    take_group_level_back,
)
from alerts.services.mail_choice import HowOftenUnknown, choose_how_often
from alerts.services.mail_day import WeekdayUnknown, set_mail_day
from alerts.services.rules import (
    NewRule,
    RuleFromThePast,
    RuleNumberOutside,
    RuleNumberUnknown,
    RuleUnknown,
    RuleWithoutReason,
    set_group_rule,
)
from alerts.services.stopped_address import address_works_again
from alerts.services.told import NotTold, Telling, ToldDayWrong, ToldHowUnknown, mark_told, take_back_told
from alerts.services.webhook import (
    NewWebhook,
    TooManyWebhooks,
    WebhookKindsUnknown,
    end_webhook,
    make_webhook,
    switch_webhook,
)

__all__ = [
    "AlertClosed",
    "HowOftenUnknown",
    "LevelFromThePast",
    "LevelNotAboveZero",
    "LevelWithoutReason",
    "MethodUnknown",
    "NewLevel",
    "NewRule",
    "NewWebhook",
    "NotTold",
    "NoteTooLong",
    "NothingToTakeBack",
    "PutOffTooFar",
    "RuleFromThePast",
    "RuleNumberOutside",
    "RuleNumberUnknown",
    "RuleUnknown",
    "RuleWithoutReason",
    "TakenBack",
    "Telling",
    "ToldDayWrong",
    "ToldHowUnknown",
    "TooManyWebhooks",
    "WebhookKindsUnknown",
    "WeekdayUnknown",
    "WorkBeforeAlert",
    "acknowledge",
    "address_works_again",
    "choose_how_often",
    "end_webhook",
    "let_adviser_leave",
    "link_work",
    "make_webhook",
    "mark_seen",
    "mark_told",
    "set_farm_level",
    "set_group_level",
    "set_group_rule",
    "set_mail_day",
    "snooze",
    "switch_webhook",
    "take_back_told",
    "take_farm_level_back",
    "take_group_level_back",
]
