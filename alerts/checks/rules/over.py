"""Over the action level: compared as the method says (monitoring.analysis.action_level), opened at once, closed slowly.

An alert closes when two counted weeks running lie below 0.8 of the level, so that one low week, or a mean that wavers
about the level, doesn't open and close it again and again. The 0.8 and the two weeks are our own choice.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from alerts.models.assessment import LevelWord

CLOSES_BELOW = 0.8  # of the action level
WEEKS_BELOW = 2  # counted weeks running
REOPENS_WITHIN = 3  # weeks: what comes back so soon is the same episode, by whichever rule


@dataclass(frozen=True)
class Week:
    """One week of an alert's life: where the mean stood against the level that applied then.

    `share` is mean over level, None where nothing was counted (or no level was set); `at_least` marks a mean that is a
    lower bound, which can't show that a week was low.
    """

    word: str
    share: float | None
    at_least: bool = False

    def is_low(self, below: float = CLOSES_BELOW) -> bool:
        """Whether the mean was below this part of its level."""
        return self.share is not None and self.share < below and not self.at_least


def opens(week: Week) -> bool:
    """Whether this week's mean is over its level (reaches it, where the method says so)."""
    return week.word == LevelWord.OVER


def closes(weeks: Sequence[Week], below: float = CLOSES_BELOW) -> bool:
    """Whether the weeks after the opening, oldest first and this one last, end the alert: below this part of the level.

    Only weeks with a count are weeks: a week without one neither ends an alert nor breaks a run of low weeks. It can't
    end the alert by itself: the last week must be a counted one.
    """
    counted = [week for week in weeks if week.share is not None]
    if not counted or weeks[-1].share is None or len(counted) < WEEKS_BELOW:
        return False
    return all(week.is_low(below) for week in counted[-WEEKS_BELOW:])


def episodes(weeks: Sequence[Week], at: Sequence[int], below: float = CLOSES_BELOW) -> list[tuple[int, int | None]]:
    """The episodes that an alert would have had in weeks one after another: place of the opening and of the closing.

    `at` numbers the weeks, so that a gap counts as weeks. None for an episode that is still open. A matter that comes
    back within three weeks of its end is the same episode.
    """
    found: list[tuple[int, int | None]] = []
    since = -1
    for place, week in enumerate(weeks):
        first, last = found[-1] if found else (-1, -1)
        if last is None:
            if closes(weeks[since + 1 : place + 1], below):
                found[-1] = first, place
        elif opens(week):
            since = place
            again = last >= 0 and at[place] - at[last] <= REOPENS_WITHIN
            found[-1:] = [(first, None)] if again else [*found[-1:], (place, None)]
    return found
