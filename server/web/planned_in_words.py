"""Planned work in words: how often, until when, and what became of a day."""

from django.utils.translation import gettext as _
from django.utils.translation import npgettext

from farms.clock import local_date
from monitoring.selectors import Plan, PlannedDay
from server.web.words import full_day, short_day


def plan_words(plan: Plan) -> str:
    """Every 2 weeks from June 18 to September 30, 2026; June 18, 2026."""
    row = plan.row
    if row.every is None or row.last_day is None:
        return full_day(row.first_day)
    words = _("{how_often}, from {first} to {last}").format(
        how_often=_how_often(row.every, row.unit), first=full_day(row.first_day), last=full_day(row.last_day)
    )
    if plan.ended_from is not None:
        words += "; " + _("ended from {day} on").format(day=full_day(plan.ended_from))
    return words


def day_words(told: PlannedDay, zone: str) -> str:
    """What became of a day of a plan; `zone` is the farm's."""
    if told.work is not None:
        return _("done on {day}").format(day=short_day(told.work.done_on))
    if told.application is not None:
        return _("done on {day}").format(day=short_day(local_date(told.application.begins_at, zone)))
    words = {
        "ahead": _("to come"),
        "due": _("due today"),
        "overdue": _("overdue"),
        "left_out": _("left out"),
        "ended": _("ended"),
        "not_noted": _("not noted"),
    }
    return words[told.state]


def _how_often(every: int, unit: str) -> str:
    words = {
        "day": npgettext("a plan", "every day", "every {n} days", every),
        "week": npgettext("a plan", "every week", "every {n} weeks", every),
        "month": npgettext("a plan", "every month", "every {n} months", every),
    }
    return words[unit].format(n=every)
