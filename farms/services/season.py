"""A farm's seasons: opened, closed, never overlapping. Out of season nothing is overdue."""

from datetime import date

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from farms.errors import Conflict, Invalid
from farms.ledger import lock_heads
from farms.models import Farm, Season


class SeasonsOverlap(Conflict):
    code = "seasons_overlap"
    message = _("Another season of this farm holds these days. Close that one first, or choose other days.")


class SeasonClosesTooEarly(Invalid):
    code = "season_closes_too_early"
    message = _("A season can't close before it opens, on {opens_on}. Choose that day or a later one.")


@transaction.atomic
def open_season(*, farm: Farm, opens_on: date) -> Season:
    """Open a season on a local day. Raises SeasonsOverlap."""
    # Nothing enters the chain here: its head is only the farm's lock, against two openings at once.
    lock_heads([farm.id])
    _refuse_overlap(Season(farm=farm, opens_on=opens_on))
    return Season.objects.create(farm=farm, opens_on=opens_on)


@transaction.atomic
def close_season(*, season: Season, closes_on: date) -> Season:
    """Close a season after its last day, or move that day. Raises SeasonClosesTooEarly or SeasonsOverlap."""
    if closes_on < season.opens_on:
        raise SeasonClosesTooEarly(pointer="/closes_on", opens_on=season.opens_on.isoformat())
    lock_heads([season.farm_id])
    season.closes_on = closes_on
    _refuse_overlap(season)
    Season.objects.filter(farm_id=season.farm_id, id=season.id).update(closes_on=closes_on)
    return season


def _refuse_overlap(season: Season) -> None:
    others = Season.objects.filter(Q(closes_on__isnull=True) | Q(closes_on__gte=season.opens_on))
    if season.closes_on is not None:
        others = others.filter(opens_on__lte=season.closes_on)
    if others.filter(farm_id=season.farm_id).exclude(id=season.id).exists():
        raise SeasonsOverlap()
