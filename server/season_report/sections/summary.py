"""The page for a layman: what was counted, how it stood against the action level, what was done, what is missing."""

from collections import Counter
from collections.abc import Iterator
from datetime import date, timedelta
from itertools import pairwise

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from alerts.selectors.season_weeks import SeasonWeek
from alerts.wording.numbers import amount, dated_label, day_label
from alerts.wording.places import and_list
from alerts.wording.results import heading
from monitoring.methods import METHODS
from server.season_report.blocks import Block, Section, Subhead, Words
from server.season_report.ground import Ground, is_late
from server.season_report.sections import walks
from server.season_report.told import exact, shown
from server.web.choices import label_of

MOST_WEEKS = 6  # named one by one


def section(ground: Ground) -> Section:
    blocks: list[Block] = [Subhead(_("What was counted"))]
    blocks += [Words(_counted(ground, method)) for method in ground.methods]
    if not ground.methods:
        blocks.append(Words(_("Nothing was counted in this time.")))
    blocks.append(Subhead(_("How it stood against the action level")))
    blocks += list(_against_levels(ground))
    blocks += [Subhead(_("What was done")), *(Words(each) for each in _done(ground))]
    blocks += [Subhead(_("What is missing")), *(Words(each) for each in _missing(ground))]
    blocks += [Subhead(_("How to read it")), Words(how_to_read())]
    return Section("summary", _("In short"), blocks)


def how_to_read() -> str:
    return _(
        "Fly counts measure activity at the places counted, not how many flies there are, and farms should not be "
        "compared by their raw counts. An action level is the count from which action is advised: a starting point "
        "from common practice, which each farm may move with a reason. No law sets a limit to a fly count that this "
        "record knows of."
    )


def _counted(ground: Ground, method: str) -> str:
    stations = [each for each in ground.stations if each.method == method]
    counted = [row for row in ground.readings if row.method == method and row.count is not None]
    buildings = len({each.facility_id for each in stations})
    where = ngettext("in {number} building or yard", "in {number} buildings and yards", buildings).format(
        number=buildings
    )
    what = {
        "card": ngettext("Fly specks on {number} spot card", "Fly specks on {number} spot cards", len(stations)),
        "trap": ngettext("Flies in {number} jug trap", "Flies in {number} jug traps", len(stations)),
        "leg": ngettext(
            "Stable flies on animals' legs at {number} place", "Stable flies on animals' legs at {number} places",
            len(stations),
        ),
    }[method].format(number=len(stations))  # fmt: skip
    if not counted:
        return _("{what} {where}: not once counted in this time.").format(what=what, where=where)
    days = sorted({row.taken_on for row in counted})
    times = ngettext("{number} count on {days}", "{number} counts on {days}", len(counted)).format(
        number=shown(len(counted)), days=ngettext("{number} day", "{number} days", len(days)).format(number=len(days))
    )
    when = _("{first} to {last}").format(first=shown(days[0]), last=shown(days[-1]))
    when = when if len(days) > 1 else shown(days[0])
    return f"{what} {where}: {times}, {when}{_how_often(days)}."


def _how_often(days: list[date]) -> str:
    """The usual time between two rounds, where there are enough to say so."""
    steps = sorted((later - earlier).days for earlier, later in pairwise(days))
    if len(steps) < 2:
        return ""
    usual = steps[len(steps) // 2]
    return _(", usually {days} apart").format(
        days=ngettext("{number} day", "{number} days", usual).format(number=usual)
    )  # fmt: skip


def _against_levels(ground: Ground) -> Iterator[Words]:
    told = False
    for method in METHODS:
        rows = [row for row in ground.weeks.get(method, {}).values() if row.mean is not None]
        if rows:
            told = True
            yield Words(_level_words(method, rows), level="over" if any(row.result == "over" for row in rows) else "")
    if not told:
        yield Words(_("No week was judged in this time."))


def _level_words(method: str, rows: list[SeasonWeek]) -> str:
    """Cards: 22 weeks; 14 below the action level, 3 near it, 5 at or over it. The highest: 178 specks a card, ..."""
    words = Counter(row.result for row in rows)
    highest = max(rows, key=lambda row: row.mean or 0.0)
    weeks = ngettext("{number} week judged", "{number} weeks judged", len(rows)).format(number=len(rows))
    told = f"{heading(method)}: {weeks}"
    if words["none"] < len(rows):
        levels = and_list(
            [shown(exact(level)) for level in sorted({row.level for row in rows if row.level is not None})]
        )
        told += ". " + _("Action level {levels}: {below} below it, {near} near it, {over} at or over it").format(
            levels=levels, below=words["below"], near=words["near"], over=words["over"]
        )
    mean = amount(highest.mean or 0.0, beside=highest.level) if highest.level else amount(highest.mean or 0.0)
    return f"{told}. " + _("The highest mean: {mean} {unit}, week of {day}.").format(
        mean=mean, unit=METHODS[method].unit, day=dated_label(highest.week)
    )


def _done(ground: Ground) -> Iterator[str]:
    kinds = Counter(work.kind for work in ground.standing_works)
    if kinds:
        parts = [f"{label_of('monitoring.Work', 'kind', kind)} ({number})" for kind, number in kinds.most_common()]
        number = sum(kinds.values())
        yield ngettext("{number} work is noted: {parts}.", "{number} works are noted: {parts}.", number).format(
            number=number, parts=", ".join(parts)
        )
    else:
        yield _("No work is noted for this time. That says nothing about work that nobody noted.")
    if ground.walks:
        yield walks.in_short(ground)
    used = len(ground.standing_applications)
    if used:
        yield ngettext(
            "{number} spray, pour-on or bait is on record, with its label as it was typed. The label, local rules and "
            "licensed people decide about every product.",
            "{number} sprays, pour-ons and baits are on record, each with its label as it was typed. The label, local "
            "rules and licensed people decide about every product.",
            used,
        ).format(number=used)
    else:
        yield _("No spray, pour-on or bait is on record for this time.")


def _missing(ground: Ground) -> Iterator[str]:
    gaps = sum(ground.gaps.values())
    if gaps:
        parts = [
            f"{label_of('monitoring.Reading', 'reason', why)} ({number})" for why, number in ground.gaps.most_common()
        ]
        yield ngettext("{number} count is missing: {parts}.", "{number} counts are missing: {parts}.",
                       gaps).format(number=shown(gaps), parts=", ".join(parts))  # fmt: skip
    weeks = weeks_without(ground)
    if weeks:
        named = [day_label(week) for week in weeks[:MOST_WEEKS]] + (["…"] if len(weeks) > MOST_WEEKS else [])
        yield ngettext("In {number} week of the seasons nothing was counted: {weeks}.",
                       "In {number} weeks of the seasons nothing was counted: weeks of {weeks}.",
                       len(weeks)).format(number=len(weeks), weeks=", ".join(named))  # fmt: skip
    corrected, late = len(ground.corrected_by), sum(is_late(row) for row in ground.readings)
    if corrected:
        yield ngettext("{number} count was corrected later; it is listed with what it was and why.",
                       "{number} counts were corrected later; each is listed with what it was and why.",
                       corrected).format(number=shown(corrected))  # fmt: skip
    if late:
        yield ngettext("{number} count came in more than two weeks late and is marked.",
                       "{number} counts came in more than two weeks late and are marked.",
                       late).format(number=shown(late))  # fmt: skip
    if not (gaps or weeks or corrected or late):
        yield _("Nothing that this record knows of: each card, trap and leg count that was due has its count.")
    yield _("A gap stays a gap: it is never counted as zero.")


def weeks_without(ground: Ground) -> list[date]:
    """Weeks (their Mondays) within the counted time of each season of which nothing was counted at all."""
    counted = {week for rows in ground.weeks.values() for week, row in rows.items() if row.mean is not None}
    found = []
    for span in ground.spans:
        inside = [week for week in counted if span.first - timedelta(days=6) <= week <= span.last]
        week = min(inside, default=span.last)
        ends = max(inside, default=span.first)
        while week < ends:
            if week not in counted:
                found.append(week)
            week += timedelta(weeks=1)
    return found
