"""Sprays, pour-ons and baits with their full record; names of people only where an owner wants them."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from alerts.selectors.results import WeekMean
from alerts.wording.numbers import amount, dated_label
from alerts.wording.results import heading
from farms.clock import monday_of
from monitoring.methods import METHODS
from server.season_report.blocks import Block, Facts, Section, Subhead, Value, Words
from server.season_report.ground import Ground
from server.season_report.sections.recorders import applied_by
from server.season_report.told import exact, first_up, shown, whole_farm
from server.web.words import level_name

WEEK = timedelta(weeks=1)
# What was counted so long before an application can have been its reason.
LOOKED_BACK = 3 * WEEK
OF_TARGET = {"house_flies": ("card", "trap"), "stable_flies": ("leg",)}


def section(ground: Ground) -> Section:
    return Section("applications", _("Sprays, pour-ons and baits"), _blocks(ground, with_reason=False))


def materials(ground: Ground) -> Section:
    """Last for an organic certifier: each material with its reason and the certifier's answer."""
    return Section("materials", _("Materials, with the reason and the answer"), _blocks(ground, with_reason=True))


def _blocks(ground: Ground, *, with_reason: bool) -> list[Block]:
    blocks: list[Block] = [Words(caution(), "caution")]
    if not ground.applications:
        return [*blocks, Words(_("None is on record for this time."))]
    if not ground.wanted.names:
        blocks.append(Words(_("Names of people are left out; the farm keeps them.")))
    standing = [_record(ground, row, with_reason=with_reason) for row in ground.standing_applications]
    blocks += standing or [Words(_("None stands for this time."))]
    gone = [row for row in ground.applications if row.replaced or row.confirmed is False]
    if gone:
        blocks += [Subhead(_("Replaced, or said by the farm to be not so")), Words(_("They stay on record."))]
        blocks += [_record(ground, row, with_reason=False) for row in gone]
    return blocks


def caution() -> str:
    return _(
        "Told as it was typed from the label and by whoever applied. The label is the law; local rules and licensed "
        "applicators decide. This record recommends no product and no dose."
    )


def _record(ground: Ground, row: Any, *, with_reason: bool) -> Facts:
    pairs = [
        *_what(row), *_how_much(row), *_label(ground, row), *(_reason(ground, row) if with_reason else ()),
        *_answer(row), *_people(ground, row), *_record_itself(ground, row),
    ]  # fmt: skip
    place = ground.place(row.facility_id, whole_farm())
    where = f"{place}, {row.place}" if row.place else place
    return Facts(
        [(first_up(term), value) for term, value in pairs if value not in ("", None)], f"{_when(ground, row)} · {where}"
    )


def _when(ground: Ground, row: Any) -> str:
    """Jun 16, 2026, 08:00 to 09:00; the second day too where it went over midnight."""
    begins, ends = ground.on_the_clock(row.begins_at), ground.on_the_clock(row.ends_at)
    last = f"{ends:%H:%M}" if begins.date() == ends.date() else shown(ends)
    return _("{first} to {last}").format(first=shown(begins), last=last)


def _what(row: Any) -> list[tuple[str, Value]]:
    groups = ", ".join(_("none") if each == "none" else each for each in row.irac_groups)
    return [
        (_("Product, as on the label"), row.name),
        (_("Registration number"), row.registration_number),
        (_("Active substance"), row.substances),
        (_("IRAC group"), groups),
        (_("Kind of product"), first_up(row.get_kind_display())),
        (_("Against"), first_up(row.get_target_display())),
    ]


def _how_much(row: Any) -> list[tuple[str, Value]]:
    area = "" if row.area is None else f"{shown(row.area)} {row.get_area_unit_display()}"
    animals = "" if row.animals is None else number_format(row.animals, force_grouping=True)
    return [
        (_("Total amount"), f"{shown(row.amount)} {row.get_amount_unit_display()}"),
        (_("Size of area"), area),
        (_("Number of animals"), animals),
    ]


def _label(ground: Ground, row: Any) -> list[tuple[str, Value]]:
    meat = "" if row.meat_days is None else ngettext("{n} day", "{n} days", row.meat_days).format(n=row.meat_days)
    out = "; ".join(part for part in (_hours(row.reentry_hours), row.reentry_words) if part)
    return [
        (_("Kept out, by the label"), out),
        (_("Milk withheld, by the label"), _until(ground, _hours(row.milk_hours), row.milk_until)),
        (_("Meat withheld, by the label"), _until(ground, meat, row.meat_until)),
    ]


def _hours(number: int | None) -> str:
    return "" if number is None else ngettext("{n} hour", "{n} hours", number).format(n=number)


def _until(ground: Ground, how_long: str, until: datetime | None) -> str:
    if not how_long or until is None:
        return how_long
    return _("{time}, until {end}").format(time=how_long, end=shown(ground.on_the_clock(until)))


def _answer(row: Any) -> list[tuple[str, Value]]:
    answer = row.certifier_answer
    if answer is None:
        return []
    told = _("{said} on {day}").format(said=first_up(answer.get_said_display()), day=shown(answer.answered_on))
    return [(_("The certifier's answer"), f"{told}: {answer.words}" if answer.words else told)]


def _people(ground: Ground, row: Any) -> list[tuple[str, Value]]:
    people = ground.people.get(row.id)
    if people is None:
        return []
    return [
        (_("Applicator"), people.applicator), (_("Certificate number"), people.certificate),
        (_("Applicator without a certificate"), people.uncertified), (_("For whom"), people.done_for),
    ]  # fmt: skip


def _record_itself(ground: Ground, row: Any) -> list[tuple[str, Value]]:
    told: list[tuple[str, Value]] = [
        (_("Recorded"), f"{shown(ground.on_the_clock(row.recorded_at))}, {applied_by(row)}")
    ]
    if row.through_link:
        words = {True: _("so it was"), False: _("it wasn't so"), None: _("nothing yet")}
        told.append((_("The farm said of it"), words[row.confirmed]))
    return [*told, (_("Why it was changed"), row.reason)]


# --- the reason, for a certifier ---


def _reason(ground: Ground, row: Any) -> list[tuple[str, Value]]:
    """What the counts had said before: of the building where it was applied, else of the whole farm."""
    day = ground.on_the_clock(row.begins_at).date()
    methods = OF_TARGET.get(row.target, tuple(METHODS))
    found = [each for method in methods if (each := _last_week(ground.means, method, row.facility_id, day))]
    told = [_in_words(each) for each in found]
    return [(_("What the counts said before"), "; ".join(told) or _("nothing was counted in the three weeks before"))]


def _last_week(means: Sequence[WeekMean], method: str, facility_id: Any, day: date) -> WeekMean | None:
    before = [
        each
        for each in means
        if each.method == method and each.mean is not None and day - LOOKED_BACK <= each.week <= monday_of(day) - WEEK
    ]
    there = [each for each in before if each.facility_id == facility_id] or [
        each for each in before if each.facility_id is None
    ]
    return max(there, key=lambda each: each.week, default=None)


def _in_words(row: WeekMean) -> str:
    """Cards, week of Jun 8, 2026: 118 specks a card, at or over (action level 100)."""
    mean = amount(row.mean or 0.0, beside=row.level) if row.level else amount(row.mean or 0.0)
    week = _("week of {day}").format(day=dated_label(row.week))
    told = f"{heading(row.method)}, {week}: {mean} {METHODS[row.method].unit}"
    if row.level is None:
        return told
    return f"{told}, {level_name(row.result)} ({_('action level')} {shown(exact(row.level))})"
