"""A farm's rounds, and when the next one is due."""

from collections.abc import Collection
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db.models import Exists, Max, OuterRef, QuerySet

from farms.access import farms_of
from farms.lookups import array_of
from farms.models import Farm, LedgerEntry, User
from farms.selectors import season_on
from monitoring.models import Round, Skip
from monitoring.rules.reentry import after_kept_out
from monitoring.selectors.reentry import days_kept_out

DUE_AFTER = 7  # days


def rounds_of(farm: Farm) -> QuerySet[Round]:
    """The farm's rounds, newest first."""
    return Round.objects.filter(farm_id=farm.id).order_by("-walked_on", "-id")


def last_round(farm: Farm, on: date | None = None) -> Round | None:
    """The newest round; with `on`, the newest up to that day."""
    rounds = rounds_of(farm)
    return (rounds if on is None else rounds.filter(walked_on__lte=on)).first()


def last_farm_counted(user: User, since: datetime) -> Farm | None:
    """Where a person walked last, of the farms that they may see; None where it was before `since`, or never.

    Sheets typed in and files don't say where somebody stands.
    """
    own = LedgerEntry.objects.filter(farm_id=OuterRef("farm_id"), number=OuterRef("entry"), actor_id=user.id)
    walked = Round.objects.filter(Exists(own), source__in=("form", "phone"), received_at__gte=since)
    last = walked.filter(farm_id__in=farms_of(user).values("id")).order_by("-received_at").first()
    return farms_of(user).filter(id=last.farm_id).first() if last else None


def next_round_due(farm: Farm, today: date) -> date | None:
    """When the next round is due; None outside every season.

    Seven days after the last round of this season, or after its opening where there was none yet, and never before
    the day that a skip named which no round has followed since, nor on a day on which labels keep everybody out.
    alerts.rounds.due_on says the same for many farms.
    """
    season = season_on(farm, today)
    if season is None:
        return None
    last = last_round(farm, today)
    begun = max(last.walked_on, season.opens_on) if last else season.opens_on
    due = begun + timedelta(days=DUE_AFTER)
    skips = Skip.objects.filter(farm_id=farm.id, skipped_on__lte=today)
    if last is not None:
        skips = skips.filter(skipped_on__gte=last.walked_on)
    skip = skips.order_by("skipped_on", "next_round_on").last()
    due = max(due, skip.next_round_on) if skip else due
    return after_kept_out(due, today, days_kept_out([farm.id], today).get(farm.id, ()))


def rounds_last_noted(farm_ids: Collection[UUID]) -> dict[UUID, datetime]:
    """When each farm last sent a round or skipped one; a farm without either isn't in it. Two queries."""
    ours = array_of(farm_ids)
    sent = Round.objects.filter(farm_id__any_of=ours).values_list("farm_id").annotate(Max("received_at"))
    skipped = Skip.objects.filter(farm_id__any_of=ours).values_list("farm_id").annotate(Max("made_at"))
    found: dict[UUID, datetime] = dict(sent)
    for farm_id, made_at in skipped:
        found[farm_id] = max(made_at, found.get(farm_id, made_at))
    return found
