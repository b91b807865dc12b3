"""From when to when a farm counts in its region's reports: joining and leaving work from the next quarter on."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from farms.clock import local_date, next_quarter, quarter_of
from farms.models import Consent, Farm
from farms.models.access import ConsentKind


@dataclass(frozen=True)
class Comparison:
    """Whether a farm counts this quarter, and whether it will from the next one on.

    `until` is the last day of this quarter, `begins_on` the first of the next, by the group's calendar, which all its
    reports go by. A farm that joins with fewer than five waits for others: who, is told nobody.
    """

    counts_now: bool
    goes_on: bool
    until: date
    begins_on: date


def comparison_of(farm: Farm, consents: Iterable[Consent], now: datetime) -> Comparison:
    """How the farm counts by its consents (of any kind, the ended ones too): who had agreed when the quarter began
    counts until it ends.
    """
    zone = farm.group.time_zone
    today = local_date(now, zone)
    began, next_one = quarter_of(today), next_quarter(today)
    regional = [consent for consent in consents if consent.kind == ConsentKind.REGIONAL]

    def held_before(consent: Consent) -> bool:
        ended = consent.withdrawn_at
        return local_date(consent.given_at, zone) < began and (ended is None or local_date(ended, zone) >= began)

    return Comparison(
        counts_now=any(held_before(consent) for consent in regional),
        goes_on=any(consent.withdrawn_at is None for consent in regional),
        until=next_one - timedelta(days=1),
        begins_on=next_one,
    )
