"""Skipping a round ahead: the cards stay up, and nothing is overdue before the day named."""

from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.clock import local_date
from farms.errors import Detail
from farms.ledger import Actor, lock_heads
from farms.models import Farm
from monitoring.errors import SkipRefused
from monitoring.models import Skip
from monitoring.rules.cells import WrongCell, day
from monitoring.rules.readings import MOST_DAYS_UP

NOT_LATER = _("The next round has to be on a later day than the one that is skipped. Choose a later day.")
TOO_FAR = _("Cards and traps stay up for 60 days at most. Choose an earlier day for the next round.")
SKIPPED_BEFORE = _("Only a round to come can be skipped, and the next round lies in the past. Choose a later day.")


@transaction.atomic
def skip_round(*, farm: Farm, skipped_on: date, next_round_on: date, actor: Actor, now: datetime) -> Skip:
    """Skip the round of a day and name the day of the next one. The same again is answered as stored.

    Raises SkipRefused.
    """
    # Nothing enters the chain here: its head is only the farm's lock and the write check.
    lock_heads([farm.id])
    errors = _faults(skipped_on, next_round_on, local_date(now, farm.time_zone))
    if errors:
        raise SkipRefused(errors=errors)
    stored = Skip.objects.filter(farm_id=farm.id, skipped_on=skipped_on, next_round_on=next_round_on).first()
    return stored or Skip.objects.create(
        farm_id=farm.id, skipped_on=skipped_on, next_round_on=next_round_on, made_at=now, actor_kind=actor.kind
    )


def _faults(skipped_on: Any, next_round_on: Any, today: date) -> list[Detail]:
    errors = []
    for name, value in (("skipped_on", skipped_on), ("next_round_on", next_round_on)):
        try:
            day(value)
        except WrongCell as error:
            errors.append(Detail(f"/{name}", str(error.reason), error.code))
    if errors:
        return errors
    if next_round_on <= skipped_on:
        return [Detail("/next_round_on", str(NOT_LATER), "not_later")]
    if next_round_on <= today:
        return [Detail("/next_round_on", str(SKIPPED_BEFORE), "skipped_before")]
    if (next_round_on - skipped_on).days > MOST_DAYS_UP or (next_round_on - today).days > MOST_DAYS_UP:
        return [Detail("/next_round_on", str(TOO_FAR), "too_far")]
    return []
