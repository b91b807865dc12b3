"""Work against flies: what was done, what was planned, what was left out, and what was noted by mistake."""

from collections.abc import Sequence
from typing import Any

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from server.season_report.blocks import Block, Column, Section, Subhead, Table, Value, Words
from server.season_report.ground import Ground
from server.season_report.told import first_up, role, whole_farm
from server.web.choices import label_of
from server.web.planned_in_words import day_words, plan_words

PREVENTION = ("clean_out", "drying", "bedding", "fans", "screens", "other")
BIOLOGICAL = ("wasps", "traps")


def section(ground: Ground) -> Section:
    blocks: list[Block] = [
        Words(_("As it was noted on the farm. What nobody noted isn't here.")),
        _done(ground, ground.standing_works, _("Work done")),
        *_taken_back(ground, ground.works),
        *_planned_blocks(ground),
    ]
    return Section("work", _("Work against flies"), blocks)


def prevention(ground: Ground) -> Section:
    """First for an organic certifier: what keeps flies from hatching."""
    works = _of(ground, PREVENTION)
    blocks: list[Block] = [
        Words(_("Clean-outs, dry bedding, water handling, fans and screens, as they were noted on the farm.")),
        _done(ground, [work for work in works if not work.taken_back], _("Prevention")),
        *_taken_back(ground, works),
    ]
    return Section("prevention", _("Prevention"), blocks)


def biological(ground: Ground) -> Section:
    """Then wasps and traps."""
    works = _of(ground, BIOLOGICAL)
    blocks: list[Block] = [
        Words(_("Parasitic wasps and traps. A trap that holds an insecticide bait is a material: see there.")),
        _done(ground, [work for work in works if not work.taken_back], _("Biological and mechanical")),
        *_taken_back(ground, works),
    ]
    return Section("biological", _("Biological and mechanical means"), blocks)


def planned(ground: Ground) -> Section | None:
    """The plans alone, where the work itself stands elsewhere."""
    blocks = _planned_blocks(ground)
    return Section("planned", _("Planned work"), blocks[1:]) if ground.plans else None


def _of(ground: Ground, kinds: Sequence[str]) -> list[Any]:
    return [work for work in ground.works if work.kind in kinds]


def _done(ground: Ground, works: Sequence[Any], name: str) -> Table:
    columns = [
        Column(_("Day"), 1.2), Column(_("Work"), 1.6), Column(_("Where"), 1.4), Column(_("How"), 2.6),
        Column(_("Noted by"), 1),
    ]  # fmt: skip
    return Table(name, columns, [_row(ground, work) for work in works], _("None is noted for this time."))


def _row(ground: Ground, work: Any) -> list[Value]:
    return [
        work.done_on,
        first_up(work.get_kind_display()),
        ground.place(work.facility_id, whole_farm()),
        how_done(work),
        first_up(role(work.actor_kind)),
    ]


def how_done(work: Any) -> str:
    """Thorough; not reached: the corner by the gate. 5,000, Muscidifurax, batch 12."""
    parts = []
    if work.thorough is not None:
        parts.append(_("thorough") if work.thorough else _("not thorough"))
    if work.not_reached:
        parts.append(_("not reached: {what}").format(what=work.not_reached))
    if work.number is not None:
        parts.append(number_format(work.number, force_grouping=True))
    parts += [work.species] if work.species else []
    if work.batch:
        parts.append(_("batch {batch}").format(batch=work.batch))
    if work.planned_for is not None:
        parts.append(_("as planned"))
    return first_up("; ".join(parts))


def _taken_back(ground: Ground, works: Sequence[Any]) -> list[Block]:
    back = [work for work in works if work.taken_back]
    if not back:
        return []
    columns = [
        Column(_("Day"), 1.2), Column(_("Work"), 1.6), Column(_("Where"), 1.4), Column(_("Noted by"), 1)
    ]  # fmt: skip
    rows = [[row[0], row[1], row[2], row[4]] for row in (_row(ground, work) for work in back)]
    return [
        Subhead(_("Noted by mistake")),
        Words(_("These were taken back; they stay on record and count nowhere.")),
        Table(_("Taken back"), columns, rows),
    ]


def _planned_blocks(ground: Ground) -> list[Block]:
    """Every plan, and each of its days within the report's time with what became of it."""
    columns = [
        Column(_("Day"), 1.2),
        Column(_("Work"), 1.6),
        Column(_("Where"), 1.4),
        Column(_("What became of it"), 2),
    ]
    first, last = ground.days
    rows: list[list[Value]] = [
        [
            told.day,
            _kind(plan),
            ground.place(plan.row.facility_id, whole_farm()),
            first_up(day_words(told, ground.farm.time_zone)),
        ]
        for plan in ground.plans
        for told in plan.told(ground.today)
        if first <= told.day <= last
    ]
    plans: list[list[Value]] = [
        [
            _kind(plan),
            ground.place(plan.row.facility_id, whole_farm()),
            first_up(plan_words(plan)),
            getattr(plan.row, "words", None) or "",
        ]
        for plan in ground.plans
    ]
    heads = [Column(_("Work"), 1.6), Column(_("Where"), 1.4), Column(_("When"), 2.4), Column(_("What to do"), 2)]
    blocks: list[Block] = [Subhead(_("Planned work")), Table(_("Plans"), heads, plans, _("No work was planned."))]
    if rows:
        rows.sort(key=lambda row: (row[0], row[1]))
        blocks += [Subhead(_("What became of each planned day")), Table(_("Planned days"), columns, rows)]
    return blocks


def _kind(plan: Any) -> str:
    return first_up(label_of("monitoring.PlannedWork", "kind", plan.row.kind))
