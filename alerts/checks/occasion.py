"""Which week is judged, when, and what may follow from it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from alerts.checks.borrowed import NOTHING, Borrowed
from alerts.rules import USUAL, GroupRules
from farms.clock import local_date

if TYPE_CHECKING:
    from farms.models import Farm, Group


@dataclass(frozen=True)
class Occasion:
    """One judgement of one week (its Monday) of a group.

    `newest`: no later week is due yet. `again`: the week was judged before, and what arrived late is brought in.
    `borrowed`: what each method's results rest on beside the farm's own weeks. `rules`: as they work in this week.
    `rise_bars`: by method, how small a p-value has to be for a rise to open an alert; None where that is not fixed yet.
    """

    group: "Group"
    week: date
    now: datetime
    newest: bool
    again: bool = False
    borrowed: Mapping[str, Borrowed] = field(default_factory=lambda: NOTHING)
    rules: GroupRules = USUAL
    rise_bars: Mapping[str, float] | None = None

    @property
    def sunday(self) -> date:
        return self.week + timedelta(days=6)

    @property
    def changes_alerts(self) -> bool:
        """An older week judged again changes results, and no alert about the past."""
        return self.newest or not self.again

    def day_on(self, farm: "Farm") -> date:
        """The day from which a farm's rounds are looked at: today for the newest week, else the Monday after it."""
        return local_date(self.now, farm.time_zone) if self.newest else self.week + timedelta(days=7)
