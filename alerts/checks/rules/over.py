"""Over the action level: compared as the method says (monitoring.analysis.action_level), opened at once, closed slowly.

An alert closes when two counted weeks running lie below 0.8 of the level, so that one low week, or a mean that wavers
about the level, doesn't open and close it again and again. The 0.8 and the two weeks are our own choice.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from alerts.models.assessment import LevelWord

CLOSES_BELOW = 0.8  # of the action level
WEEKS_BELOW = 2  # counted weeks running


@dataclass(frozen=True)
class Week:
    """One week of an alert's life: where the mean stood against the level that applied then.

    `share` is mean over level, None where nothing was counted (or no level was set); `at_least` marks a mean that is a
    lower bound, which can't show that a week was low.
    """

    word: str
    share: float | None
    at_least: bool = False

    @property
    def is_low(self) -> bool:
        return self.share is not None and self.share < CLOSES_BELOW and not self.at_least


def opens(week: Week) -> bool:
    """Whether this week's mean is over its level (reaches it, where the method says so)."""
    return week.word == LevelWord.OVER


def closes(weeks: Sequence[Week]) -> bool:
    """Whether the weeks after the opening, oldest first and this one last, end the alert.

    Only weeks with a count are weeks: a week without one neither ends an alert nor breaks a run of low weeks. It can't
    end the alert by itself: the last week must be a counted one.
    """
    counted = [week for week in weeks if week.share is not None]
    if not counted or weeks[-1].share is None or len(counted) < WEEKS_BELOW:
        return False
    return all(week.is_low for week in counted[-WEEKS_BELOW:])
