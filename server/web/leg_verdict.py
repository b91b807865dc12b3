"""Whether enough animals were looked at, as a page tells it while they are counted and after: of these animals only."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from alerts.selectors import levels_of
from alerts.selectors.borrowed import KOfLegs, k_of_legs
from alerts.selectors.leg_verdicts import LegVerdict, LegVerdicts, can_plan
from alerts.wording import amount
from monitoring.analysis.leg_scatter import INFERRED
from monitoring.analysis.leg_verdict import (
    COUNT_ON,
    ENOUGH_BELOW,
    ENOUGH_OVER,
    FEWEST,
    NO_TOTAL,
    NONE,
    NOT_CLEAR,
    stop_table,
)
from monitoring.analysis.rates import LEGS_PER_ANIMAL
from monitoring.methods import LEG
from monitoring.selectors import readings_of
from server.web.forms.count import LineForm
from server.web.results import FLAGS

if TYPE_CHECKING:
    from monitoring.models import Reading, Round

WORDS: dict[str, Promise] = {
    ENOUGH_BELOW: _("Enough: below your level"),
    ENOUGH_OVER: _("Enough: at or over your level"),
    COUNT_ON: _("Count on"),
    NOT_CLEAR: _("Not clear after {animals} animals"),
}
SO_FAR = _("These animals today: mean so far {mean} an animal, level {level}.")
TOO_FEW = _("Fewer than ten animals: too few to tell")
THAT_DAY = _("These animals on that day: mean {mean} an animal, {leg} a leg; level {level}.")
# A word's mark: the open and the filled ring of levels, or a dash.
MARKS = {ENOUGH_BELOW: "level-below", ENOUGH_OVER: "level-over", COUNT_ON: "", NOT_CLEAR: "level-none"}


def words_of_legs() -> dict[str, Any]:
    """What a script says of a leg count at a round's end, as `told_of` does, in the page's language."""
    told = {code: str(word) for code, word in WORDS.items()}
    words = {"words": told, "marks": MARKS, "fewest": FEWEST, "legs": LEGS_PER_ANIMAL}
    return words | {"too_few": str(TOO_FEW), "that_day": str(THAT_DAY), "sprayed": str(FLAGS["sprayed"])}


@dataclass(frozen=True)
class LegPlan:
    """When a leg count is enough, at one action level: a row for each number of animals from 10 to 15.

    A row is (animals, at most so many flies for "below" or None where no total is low enough, at least so many for
    "at or over"). `inferred`: how uneven animals are is our own inference, not from the group's leg counts.
    """

    level: float
    inferred: bool
    rows: list[tuple[int, int | None, int]]

    @property
    def totals(self) -> str:
        """For the script, which needs no signal."""
        return json.dumps({"level": self.level, "fewest": FEWEST, "rows": [row[1:] for row in self.rows]})

    @property
    def words(self) -> str:
        """What the script says, in the page's language, with the marks beside the words."""
        so_far = str(SO_FAR).replace("{level}", amount(self.level))
        told = {code: str(word) for code, word in WORDS.items()}
        return json.dumps({"words": told, "marks": MARKS, "so_far": so_far}, ensure_ascii=False)


@dataclass(frozen=True)
class LegTold:
    """A stored leg count's verdict in words, the plain comparison beside it, and what speaks against it."""

    reading: "Reading"
    word: str
    mark: str
    mean: str
    caution: str


def leg_plan(level: float, scatter: KOfLegs) -> LegPlan:
    table = stop_table(level, scatter.k)
    columns = zip(table.animals.tolist(), table.below.tolist(), table.over.tolist(), strict=True)
    rows = [(animals, None if below == NO_TOTAL else below, over) for animals, below, over in columns]
    return LegPlan(level, scatter.source == INFERRED, rows)


def plan_legs(farm: Any, forms: Iterable[LineForm]) -> bool:
    """Give each leg count's form its plan, by its facility's action level; whether there is any."""
    legs = [form for form in forms if form.method == LEG.code]
    if not legs:
        return False
    day = legs[0].line.day
    scatter, levels = k_of_legs(farm.group, day), levels_of(farm, day)
    for form in legs:
        level = levels.of(LEG.code, form.line.station.facility_id).value
        form.leg_plan = leg_plan(level, scatter) if level is not None and can_plan(level) else None
    return True


def legs_told(farm: Any, walked: "Round") -> list[LegTold]:
    """The verdicts of a round's leg counts as they stand, in the order of their numbers."""
    legs = readings_of(farm).filter(round_id=walked.id, method=LEG.code).select_related("station")
    verdicts = LegVerdicts(farm)
    found = [(reading, verdicts.of(reading)) for reading in legs.order_by("station__number", "taken_on", "id")]
    return [told_of(reading, verdict) for reading, verdict in found if verdict and verdict.word != NONE]


def told_of(reading: "Reading", verdict: LegVerdict) -> LegTold:
    """One verdict after the count: nobody counts on, so what was not enough is not clear, or too little."""
    word = NOT_CLEAR if verdict.word == COUNT_ON else verdict.word
    told = TOO_FEW if verdict.animals < FEWEST else WORDS[word]
    level = verdict.level or 0.0
    return LegTold(
        reading=reading,
        word=str(told).replace("{animals}", str(verdict.animals)),
        mark=MARKS[word],
        mean=str(THAT_DAY).format(
            mean=amount(verdict.mean, beside=level), leg=amount(verdict.mean / LEGS_PER_ANIMAL), level=amount(level)
        ),
        caution=str(FLAGS["sprayed"]) if reading.sprayed and word == ENOUGH_BELOW else "",
    )
