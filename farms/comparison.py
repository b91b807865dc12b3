"""From when to when a farm counts in its region's reports: joining and leaving work from the next quarter on."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from farms.clock import local_date, next_quarter, quarter_of
from farms.models import Consent, Farm
from farms.models.access import ConsentKind


@dataclass(frozen=True)
class Comparison:
    """Whether a farm counts this quarter, and whether it will from the next one on.

    `until` is the last day of this quarter, `begins_on` the first of the next, by the farm's own calendar.
    """

    counts_now: bool
    goes_on: bool
    until: date
    begins_on: date


def comparison_of(farm: Farm, consents: Iterable[Consent], today: date) -> Comparison:
    """How the farm counts by its consents (of any kind, the ended ones too): who had agreed when the quarter began
    counts until it ends.
    """
    began, next_one = quarter_of(today), next_quarter(today)
    regional = [consent for consent in consents if consent.kind == ConsentKind.REGIONAL]

    def held_before(consent: Consent) -> bool:
        ended = consent.withdrawn_at
        given_on = local_date(consent.given_at, farm.time_zone)
        return given_on < began and (ended is None or local_date(ended, farm.time_zone) >= began)

    return Comparison(
        counts_now=any(held_before(consent) for consent in regional),
        goes_on=any(consent.withdrawn_at is None for consent in regional),
        until=next_one - timedelta(days=1),
        begins_on=next_one,
    )
