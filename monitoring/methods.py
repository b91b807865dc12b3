"""The counting methods: a frozen table. Another method is another line here.

Action levels and their comparisons are the trade's guidelines (common practice, printed in extension guides): more than
100 specks a card and 7 days, more than 250 flies a trap and 7 days, at least 10 stable flies an animal, on all legs.
"""

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True)
class Method:
    """One way of counting.

    `per_days` is 7 where a device hangs for some days, 0 where animals are counted on the spot; `comparison` is "more"
    (exceeded when more than the level) or "at_least" (reached when at least the level); `default_level` is None where
    no guideline is printed.
    """

    code: str
    name: Any
    station_name: Any
    unit: Any
    per_days: int
    comparison: str
    default_level: float | None
    fly: str

    @property
    def hangs(self) -> bool:
        return self.per_days > 0


CARD = Method(
    code="card",
    name=_("spot cards"),
    station_name=_("Card {number}"),
    unit=_("specks a card"),
    per_days=7,
    comparison="more",
    default_level=100,
    fly="house fly",
)
TRAP = Method(
    code="trap",
    name=_("jug traps"),
    station_name=_("Trap {number}"),
    unit=_("flies a trap"),
    per_days=7,
    comparison="more",
    default_level=250,
    fly="house fly",
)
LEG = Method(
    code="leg",
    name=_("leg counts"),
    station_name=_("Leg count {number}"),
    unit=_("flies an animal"),
    per_days=0,
    comparison="at_least",
    default_level=10,
    fly="stable fly",
)
METHODS: dict[str, Method] = {method.code: method for method in (CARD, TRAP, LEG)}
METHOD_CHOICES = [(method.code, method.name) for method in METHODS.values()]
