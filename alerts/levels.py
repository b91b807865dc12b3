"""Action levels as values: which of several applies. Facility over farm over group over the method's default."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from uuid import UUID

from django.utils import translation

from monitoring.methods import METHODS

Place = tuple[UUID | None, str]  # (facility, or None for the whole farm; method's code)


@dataclass(frozen=True)
class Level:
    """An action level and whose it is: "facility", "farm", "group" or "default". None: no level is printed or set."""

    value: float | None
    unit: str
    level_of: str
    valid_from: date | None = None
    reason: str = ""


@dataclass(frozen=True)
class FarmLevels:
    """What applies on one farm on one day."""

    own: Mapping[Place, Level] = field(default_factory=dict)
    group: Mapping[str, Level] = field(default_factory=dict)

    def of(self, method: str, facility_id: UUID | None = None) -> Level:
        """The level that applies to a facility, or to the whole farm."""
        return (
            self.own.get((facility_id, method))
            or self.own.get((None, method))
            or self.group.get(method)
            or default_level(method)
        )


def default_level(method: str) -> Level:
    return Level(METHODS[method].default_level, unit_of(method), "default")


def unit_of(method: str) -> str:
    """The unit as it is stored with a level: English, whoever asks, so that stored rows compare."""
    with translation.override(None):
        return str(METHODS[method].unit)
