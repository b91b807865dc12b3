"""Kept out, as a page tells it: in both languages at once, with its end by the farm's clock, and who typed it.

What was typed is told as typed: no page judges whether somebody may go in.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.utils.dateformat import format as dated
from django.utils.timesince import timeuntil
from django.utils.translation import get_language, override
from django.utils.translation import gettext as _

from alerts.wording.numbers import dated_weekday_phrase
from farms.selectors import names_in_log
from monitoring.selectors import kept_out_about, kept_out_of, replaced_by
from server.web.choices import choices_of
from server.web.doors import Visit
from server.web.log_lines import called

# A round that is begun before the spraying, or soon after the label's time, should know of it.
ABOUT = timedelta(hours=24)


@dataclass(frozen=True)
class Told:
    """One re-entry time in one language, a sentence a line. `ended` stands in place of `when` once it has ended."""

    language: str
    place: str
    when: str
    left: str
    label: str
    who: str
    ended: str
    changes: list[str]


@dataclass(frozen=True)
class Notice:
    """One re-entry time: `ends_in` seconds from when it was told, negative where it has ended."""

    reentry: Any
    state: str  # ahead, running, ended
    ends_in: int
    told: list[Told]


@dataclass(frozen=True)
class KeptOut:
    """What a page tells: the notices, and for a page that was kept, when that was known, a sentence a language.

    `served` is that moment, by which a script counts the page's age; not told where the clock is a demo's.
    """

    notices: list[Notice]
    served: datetime
    known: list[tuple[str, str]]
    law: list[tuple[str, str]] = field(default_factory=list)


def kept_out_told(visit: Visit, *, languages: Sequence[str] = ()) -> KeptOut:
    """What is to be told of a farm now. In every language, that of the page first, unless some are named."""
    rows = kept_out_about(visit.farm, visit.now, ABOUT)
    earlier = {row.id: replaced_by(row) if row.replaces_id else [] for row in rows}
    names = typed_by_names(visit, [*rows, *(old for before in earlier.values() for old in before)])
    spoken = languages or page_first()
    notices = [_notice(visit, row, earlier[row.id], names, spoken) for row in rows]
    return KeptOut(notices, visit.now, in_each(spoken, lambda: _known(visit)), in_each(spoken, _law))


def places_kept_out(visit: Visit) -> set[UUID | None]:
    """The buildings into which nobody goes now; None for the whole farm."""
    return {row.facility_id for row in kept_out_of(visit.farm, visit.now)}


def page_first() -> list[str]:
    """Every language, that of the page first."""
    every = [code for code, _name in choices_of("farms.Farm", "language")]
    here = (get_language() or "en").partition("-")[0]
    return sorted(every, key=lambda code: code != here)


def in_each(languages: Iterable[str], say: Any) -> list[tuple[str, str]]:
    """A sentence in each of these languages."""
    found = []
    for language in languages:
        with override(language):
            found.append((language, say()))
    return found


def typed_by_names(visit: Visit, rows: Iterable[Any]) -> dict[UUID, str]:
    """What those who typed are called now."""
    return names_in_log(visit.farm, {row.typed_by for row in rows if row.typed_by})


def who_typed(row: Any, names: dict[UUID, str]) -> str:
    return called(row.typed_by, row.actor_kind, names)


def long_clock(moment: datetime, zone: str) -> str:
    """Tuesday, June 2, 2026, 18:30 (6:30 p.m.); with the zone's letters in the hour that a clock shows twice."""
    local = moment.astimezone(ZoneInfo(zone))
    day = dated_weekday_phrase(local.date())
    twice = local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset()
    return f"{day}, {local:%H:%M} ({dated(local, 'g:i a')})" + (f" {local.tzname()}" if twice else "")


def _notice(visit: Visit, row: Any, before: list[Any], names: dict[UUID, str], languages: Sequence[str]) -> Notice:
    state = "ahead" if row.begins_at > visit.now else "running" if row.until > visit.now else "ended"
    told = []
    for language in languages:
        with override(language):
            told.append(_told(visit, row, before, names, language))
    return Notice(row, state, round((row.until - visit.now).total_seconds()), told)


def _told(visit: Visit, row: Any, before: list[Any], names: dict[UUID, str], language: str) -> Told:
    zone = visit.farm.time_zone
    begins, ends = long_clock(row.begins_at, zone), long_clock(row.until, zone)
    if row.begins_at > visit.now:
        when = _("From {begins} until {ends}.").format(begins=begins, ends=ends)
    else:
        when = _("Until {ends}.").format(ends=ends)
    typed = long_clock(row.recorded_at, zone)
    return Told(
        language=language,
        place=row.facility.name if row.facility else _("the whole farm"),
        when=when,
        left=_("That is {time} from now.").format(time=timeuntil(row.until, visit.now)),
        label=_("From the label: “{words}”").format(words=row.label_says),
        who=_("Typed by {name} on {moment}.").format(name=who_typed(row, names), moment=typed),
        ended=_(
            "The label's time typed here has ended on {ends}. Ask whoever sprayed before you go in."
        ).format(ends=ends),
        changes=_changes(visit, row, before, names),
    )  # fmt: skip


def _changes(visit: Visit, row: Any, before: list[Any], names: dict[UUID, str]) -> list[str]:
    """What was typed first, and why it was changed: a time is never shortened silently."""
    words = _("Typed before: until {ends}. Changed by {name}: “{why}”")
    later, found = row, []
    for old in before:
        ends = long_clock(old.until, visit.farm.time_zone)
        found.append(words.format(ends=ends, name=who_typed(later, names), why=later.reason))
        later = old
    return found


def _known(visit: Visit) -> str:
    words = _("What is told here of barns was known on {moment}. Ask before you go in.")
    return words.format(moment=long_clock(visit.now, visit.farm.time_zone))


def _law() -> str:
    return _("The label is the law. Ask before you go in.")
