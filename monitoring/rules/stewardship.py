"""What to think of before, or to know after, an application: questions and never a recommendation. Pure functions.

Groups are IRAC's mode-of-action groups. Not from one group twice running; 1A and 1B work on the same site, so one
after the other is no rotation (from memory of IRAC's guidance); larvicide and adulticide not from one group together.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from uuid import UUID

from monitoring.models.application import CertifierSaid
from monitoring.models.product import NOT_GROUPED, ON_MAGGOTS, ProductKind

# "Again" and "together" are asked within a season: flies of one summer are one population (our choice, no source).
SEASON = timedelta(days=270)
# As long as releases went on in the one trial that is cited (500 a calf and week for 8 weeks, Kaufman et al. 2012):
# wasps of such a programme live in the barn meanwhile. Our choice.
WASPS_LIVE = timedelta(weeks=8)
SAME_SITE = frozenset({"1A", "1B"})


class StewardshipWarning(StrEnum):
    """What may be said of an application; the sentences stand in monitoring.rules.stewardship_words."""

    SAME_GROUP = "same_group"
    NO_ROTATION = "no_rotation"
    BOTH_STAGES = "both_stages"
    NO_CERTIFICATE = "no_certificate"
    WASPS_THERE = "wasps_there"
    CERTIFIER_REFUSED = "certifier_refused"
    CERTIFIER_LATE = "certifier_late"


@dataclass(frozen=True)
class Use:
    """A product used, or meant to be used, in a facility or (None) on the whole farm, from a moment on."""

    kind: str
    groups: frozenset[str]
    facility_id: UUID | None
    at: datetime

    @property
    def is_on_maggots(self) -> bool:
        return self.kind in ON_MAGGOTS

    def shares_place(self, facility_id: UUID | None) -> bool:
        return self.facility_id is None or facility_id is None or self.facility_id == facility_id


@dataclass(frozen=True)
class Known:
    """What is known beside the use itself. `wasps`: (day's moment, facility or None) of each release.

    `certifier` is None on a farm that isn't organic.
    """

    earlier: Sequence[Use] = ()
    wasps: Sequence[tuple[datetime, UUID | None]] = ()
    certificate_missing: bool = False
    certifier: tuple[str, datetime] | None = None


def warnings_of(use: Use, known: Known) -> list[StewardshipWarning]:
    """What is to be said of a use, most pressing first."""
    checks = {
        StewardshipWarning.CERTIFIER_REFUSED: known.certifier is not None
        and known.certifier[0] == CertifierSaid.NOT_ALLOWED,
        StewardshipWarning.CERTIFIER_LATE: known.certifier is not None and known.certifier[1] > use.at,
        StewardshipWarning.WASPS_THERE: wasps_are_there(use, known.wasps),
        **_rotation(use, known.earlier),
        StewardshipWarning.NO_CERTIFICATE: known.certificate_missing,
    }
    return [warning for warning, holds in checks.items() if holds]


def wasps_are_there(use: Use, wasps: Iterable[tuple[datetime, UUID | None]]) -> bool:
    """Whether a residual spray meets wasps that were released there in the eight weeks before."""
    if use.kind != ProductKind.RESIDUAL:
        return False
    return any(timedelta(0) <= use.at - at <= WASPS_LIVE and use.shares_place(place) for at, place in wasps)


def _rotation(use: Use, earlier: Sequence[Use]) -> dict[StewardshipWarning, bool]:
    groups = use.groups - {NOT_GROUPED}
    season = [
        each for each in earlier if timedelta(0) <= use.at - each.at <= SEASON and each.shares_place(use.facility_id)
    ]
    same_stage = [each for each in season if each.is_on_maggots == use.is_on_maggots]
    last = max(same_stage, key=lambda each: each.at, default=None)
    before = last.groups - {NOT_GROUPED} if last else frozenset[str]()
    sites = {groups & SAME_SITE, before & SAME_SITE}
    return {
        StewardshipWarning.SAME_GROUP: bool(groups & before),
        StewardshipWarning.NO_ROTATION: not groups & before and frozenset() not in sites and len(sites) == 2,
        StewardshipWarning.BOTH_STAGES: any(
            each.is_on_maggots != use.is_on_maggots and bool(_sites(groups) & _sites(each.groups)) for each in season
        ),
    }


def _sites(groups: frozenset[str]) -> frozenset[str]:
    """Groups by their site of action: 1A and 1B are one."""
    return frozenset("1" if group in SAME_SITE else group for group in groups - {NOT_GROUPED})
