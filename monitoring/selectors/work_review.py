"""A season's deeds, kind by kind: each with its effect, and all of a kind together where two can be told."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING
from uuid import UUID

import numpy as np

from farms.models import Farm, Season
from monitoring.analysis.pooled_effect import PooledEffect, pooled_effect
from monitoring.selectors.deeds import Deed, deeds_of_farms
from monitoring.selectors.work_effects import PROGRAMMES, WorkEffect, effects_of_deeds, percent

if TYPE_CHECKING:
    from django.utils.functional import Promise

FEWEST_POOLED = 2
# What makes a 95 % interval of a normal: effects go into the pool as unsure as their own intervals are wide.
REACH_OF_95 = 1.959964


@dataclass(frozen=True)
class DeedReviewed:
    """One deed with what became of the counts after it."""

    deed: Deed
    effect: WorkEffect


@dataclass(frozen=True)
class KindReview:
    """All deeds of a kind, in their order. `told`: how many have an effect of their own, against something else.

    `pooled` is theirs together, of the method of which most tell (`method`, `pooled_from` of them); None for fewer than
    two. Its `ratio`, `low` and `high` read as those of one work do.
    """

    kind: str
    label: "str | Promise"
    deeds: tuple[DeedReviewed, ...]
    told: int
    pooled: PooledEffect | None = None
    method: str | None = None

    @property
    def ratio(self) -> float | None:
        return None if self.pooled is None else self.pooled.ratio

    @property
    def low(self) -> float | None:
        return None if self.pooled is None else self.pooled.interval()[0]

    @property
    def high(self) -> float | None:
        return None if self.pooled is None else self.pooled.interval()[1]

    @property
    def change(self) -> float | None:
        """The same in per cent, to a tenth."""
        return percent(self.ratio)

    @property
    def change_low(self) -> float | None:
        return percent(self.low)

    @property
    def change_high(self) -> float | None:
        return percent(self.high)


@dataclass(frozen=True)
class WorkReview:
    """What was done on a farm from one day to another, kind by kind, the kind done most often first."""

    farm_id: UUID
    first: date
    last: date
    kinds: tuple[KindReview, ...]

    def among(self, holds: Callable[[date], bool]) -> "WorkReview":
        """The same of what began on days for which this holds: each effect as it is, the kinds taken together anew.

        So that the seasons of some years are read at once.
        """
        every = (each for kind in self.kinds for each in kind.deeds if holds(each.deed.begins_on))
        reviewed = sorted(every, key=lambda each: each.deed.begins_on)
        return WorkReview(self.farm_id, self.first, self.last, _kinds(reviewed))


def review_of_works(farm: Farm, first: date, last: date, *, on: date, reports: str = "region") -> WorkReview:
    """The review of what began from one day to another, as it can be told on a day. A fixed number of queries.

    Works of one season share their weather and the places that they stand beside, which no pooling knows.
    """
    known = deeds_of_farms([farm.id], first - PROGRAMMES, max(on, last))
    deeds = sorted((deed for deed in known if first <= deed.begins_on <= last), key=lambda deed: deed.begins_on)
    effects = effects_of_deeds(deeds, [farm], on, known=known, reports=reports)
    return WorkReview(farm.id, first, last, _kinds([DeedReviewed(deed, effects[deed.id]) for deed in deeds]))


def _kinds(reviewed: Sequence[DeedReviewed]) -> tuple[KindReview, ...]:
    often = Counter(each.deed.kind for each in reviewed)
    return tuple(_kind([each for each in reviewed if each.deed.kind == kind]) for kind, _number in often.most_common())


def review_of_season(farm: Farm, season: Season, *, on: date) -> WorkReview:
    """The review of a season, up to its last day or today."""
    return review_of_works(farm, season.opens_on, min(season.closes_on or date.max, on), on=on)


def _kind(deeds: Sequence[DeedReviewed]) -> KindReview:
    told = [each.effect for each in deeds if each.effect.credits]
    first = deeds[0].deed
    plain = KindReview(first.kind, first.label, tuple(deeds), len(told))
    method = next((each for each, _number in Counter(effect.method for effect in told).most_common(1)), None)
    alike = [effect for effect in told if effect.method == method]
    if len(alike) < FEWEST_POOLED:
        return plain
    low, ratio, high = (
        np.log(np.array([getattr(effect, name) for effect in alike], np.float64)) for name in ("low", "ratio", "high")
    )
    pooled = pooled_effect(ratio, (high - low) / (2 * REACH_OF_95))
    return KindReview(plain.kind, plain.label, plain.deeds, plain.told, pooled, method)
