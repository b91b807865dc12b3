"""What each line of the log carries while something is done: which run of which group and week, which mail.

Ids and weeks only. Who may see the farm reads its error on the row, under row security; the log names no farm, tells no
count and no address (server/logs.py leaves them out of tracebacks too).
"""

from contextlib import AbstractContextManager
from typing import TYPE_CHECKING, Any

from structlog.contextvars import bound_contextvars

if TYPE_CHECKING:
    from alerts.checks.occasion import Occasion
    from alerts.models import CheckRun
    from alerts.models.outbox import Mail


def judging(run: "CheckRun") -> AbstractContextManager[Any]:
    """While a group's week is judged and its mails are written."""
    return bound_contextvars(run=str(run.id), group=str(run.group_id), week=run.week.isoformat())


def judging_week(occasion: "Occasion") -> AbstractContextManager[Any]:
    """While farms of a week are judged, by a run or again."""
    return bound_contextvars(group=str(occasion.group.id), week=occasion.week.isoformat())


def sending(mail: "Mail") -> AbstractContextManager[Any]:
    """While a mail is sent."""
    return bound_contextvars(mail=str(mail.id))
