"""How the service runs, in words: what is off, a run, an error without what it says, the farms that are set aside."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils.timesince import timesince
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext, pgettext_lazy

from alerts.models import CheckFailure, CheckRun, Running
from alerts.selectors.running import Kind, Off, failures_of
from farms.access import farms_of
from server.metrics import seconds_of
from server.web.words import week_of

REPORTS = "Region reports were not published. "
LISTS = "Lists or reports were not all written. "
STATES = {
    "due": pgettext_lazy("a check", "due"),
    "running": pgettext_lazy("a check", "being done"),
    "done": pgettext_lazy("a check", "done"),
}
# Kinds of errors by what they mean to whoever reads the page. What an error says may name a farm, so it isn't shown.
KINDS = {
    "OperationalError": gettext_lazy("the database did not answer"),
    "InterfaceError": gettext_lazy("the database did not answer"),
    "RunLost": gettext_lazy("another worker took it over"),
    "MemoryError": gettext_lazy("there was too little memory"),
}


@dataclass(frozen=True)
class RunLine:
    """A run of the weekly check as the page's table has it."""

    week: date
    state: str
    is_done: bool
    began_at: datetime | None
    took: str
    run: CheckRun
    error: str


@dataclass(frozen=True)
class AsideLine:
    """A farm that is set aside, for somebody who may see it."""

    failure: CheckFailure
    error: str


def run_line(run: CheckRun) -> RunLine:
    seconds = seconds_of(run) if run.state == "done" else None
    return RunLine(
        run.week, str(STATES.get(run.state, run.state)), run.state == "done", run.started_at, took(seconds), run,
        error_in_words(run.error),
    )  # fmt: skip


def took(seconds: float | None) -> str:
    """12 s; 3 min."""
    if seconds is None:
        return ""
    return _("%(n)d s") % {"n": round(seconds)} if seconds < 120 else _("%(n)d min") % {"n": round(seconds / 60)}


def error_in_words(stored: str) -> str:
    """What went wrong, from a stored "Kind: what it says"; of that only the kind is told."""
    before, mark, why = stored.partition(LISTS)
    if mark:
        lists = _("Monday lists or coordinators' reports were not all written: %(why)s") % {"why": error_in_words(why)}
        return f"{error_in_words(before.strip())}; {lists}" if before else lists
    if stored.startswith(REPORTS):
        return _("region reports were not published: %(why)s") % {"why": error_in_words(stored.removeprefix(REPORTS))}
    kind = stored.partition(":")[0]
    if not stored or not kind.isidentifier():
        return _("an error in the service") if stored else ""
    return str(KINDS.get(kind, "")) or _("an error in the service (%(kind)s)") % {"kind": kind}


def aside_lines(user: Any, row: Running | None) -> tuple[list[AsideLine], int]:
    """The farms set aside that somebody may see, and how many there are beside them."""
    if row is None or not row.set_aside:
        return [], 0
    farms = farms_of(user).filter(group_id=row.group_id).values_list("id", flat=True)
    lines = [AsideLine(failure, error_in_words(failure.error)) for failure in failures_of(list(farms))]
    return lines, max(row.set_aside - len(lines), 0)


def off_in_words(off: Sequence[Off], row: Running | None, now: datetime) -> list[str]:
    """A sentence for each that is off."""
    return [SENTENCES[each.kind](each, row, timesince(each.since, now, depth=1) if each.since else "") for each in off]


def _bell(off: Off, row: Running | None, age: str) -> str:
    heard = _("The bell was last heard %(age)s ago") % {"age": age} if age else _("The bell was not heard yet")
    return _("%(heard)s: checks and mails may stand still. Whoever runs the service should look after it.") % {
        "heard": heard
    }


def _late(off: Off, row: Running | None, age: str) -> str:
    week = week_of(row.due_week) if row is not None and row.due_week is not None else ""
    return _("The check of the %(week)s has been due for %(age)s and has not run.") % {"week": week, "age": age}


def _judged(off: Off, row: Running | None, age: str) -> str:
    told = _("%(found)d of %(wanted)d farms of the newest week were judged or set aside with an error.")
    return told % {"found": off.found, "wanted": off.wanted}


def _written(off: Off, row: Running | None, age: str) -> str:
    told = _("%(found)d of %(wanted)d farms have their mail of the newest week.")
    return told % {"found": off.found, "wanted": off.wanted}


def _mails(off: Off, row: Running | None, age: str) -> str:
    told = ngettext(
        "%(n)d mail waits, for %(age)s already.", "%(n)d mails wait, the oldest for %(age)s already.", off.found
    )
    return told % {"n": off.found, "age": age}


def _imports(off: Off, row: Running | None, age: str) -> str:
    told = ngettext(
        "%(n)d file waits to be stored, for %(age)s already.",
        "%(n)d files wait to be stored, the oldest for %(age)s already.",
        off.found,
    )
    return told % {"n": off.found, "age": age}


SENTENCES: dict[Kind, Callable[[Off, Running | None, str], str]] = {
    Kind.NO_BELL: _bell,
    Kind.CHECK_LATE: _late,
    Kind.NOT_JUDGED: _judged,
    Kind.NOT_WRITTEN: _written,
    Kind.MAIL_WAITS: _mails,
    Kind.IMPORT_WAITS: _imports,
}


HELD = {
    "bounded": gettext_lazy(
        "From the figures a contributor could have been worked out. Nothing has to be done: the report is tried again "
        "at each check, and stays back while this is so."
    ),
    "untrue": gettext_lazy(
        "A figure did not follow from what was kept of that week. Tell whoever runs the service: this is an error in "
        "it, and the report stays back until it is mended."
    ),
    "unsolved": gettext_lazy(
        "The check for safety came to no end. It is tried again by itself; tell whoever runs the service if it stands "
        "here for more than a day."
    ),
}


def held_in_words(reason: str) -> str:
    """Why a region's report is held back, and what to do. Tells of no farm."""
    return str(HELD.get(reason, reason))


def well_in_words(row: Running | None) -> str:
    """What is said where nothing is off."""
    if row is None or row.week is None:
        return _("All is well: no week has been judged yet, and none is late.")
    if row.set_aside:
        told = ngettext(
            "The %(week)s was judged; %(n)d farm is set aside with an error, and is tried again by itself.",
            "The %(week)s was judged; %(n)d farms are set aside with an error, and are tried again by themselves.",
            row.set_aside,
        )
        return told % {"week": week_of(row.week), "n": row.set_aside}
    if row.waiting or row.sending:
        return _("All is well: the %(week)s was judged, and its mails are on their way.") % {"week": week_of(row.week)}
    return _("All is well: the %(week)s was judged, and no mail waits.") % {"week": week_of(row.week)}
