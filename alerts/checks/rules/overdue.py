"""Round overdue: in season, nobody has walked the farm for ten days, though a round is due after seven."""

from datetime import date, timedelta

from alerts.rounds import DUE_AFTER, Walks, due_on

OVERDUE_AFTER = 10  # days


def opens(walks: Walks, day: date, after: float = OVERDUE_AFTER) -> bool:
    """Whether the round that was due is overdue: three days late, so ten days after the last where none was skipped.

    The first visit that only hangs is a round like any other; out of season nothing is due.
    """
    due = due_on(walks, day)
    return due is not None and day >= due + timedelta(days=after - DUE_AFTER)
