"""What is written about alerts by a person. The caller has come through `farms.access` and opened the transaction."""

from alerts.services.levels import (
    LevelFromThePast,
    LevelNotAboveZero,
    LevelWithoutReason,
    MethodUnknown,
    NewLevel,
    set_farm_level,
    set_group_level,
)
from alerts.services.seen import AlertClosed, mark_seen

__all__ = [
    "AlertClosed",
    "LevelFromThePast",
    "LevelNotAboveZero",
    "LevelWithoutReason",
    "MethodUnknown",
    "NewLevel",
    "mark_seen",
    "set_farm_level",
    "set_group_level",
]
