"""Who recorded what, in numbers: farm staff, adviser, typed from paper, program. Nobody is ranked."""

from collections import Counter
from typing import Any

from django.utils.translation import gettext as _

from server.season_report.blocks import Block, Column, Section, Table, Value, Words
from server.season_report.ground import Ground
from server.season_report.told import NONE, first_up, role


def section(ground: Ground) -> Section:
    kinds = {
        _("Rounds"): Counter(role(row.actor_kind, row.source) for row in ground.rounds),
        _("Counts"): Counter(role(row.round.actor_kind, row.round.source) for row in ground.readings),
        _("Corrections"): Counter(
            role(row.round.actor_kind, row.round.source) for row in ground.corrected_by.values()
        ),
        _("Work"): Counter(role(row.actor_kind) for row in ground.works),
        _("Fly walks"): Counter(role(row.actor_kind) for row in ground.walks),
        _("Sprays, pour-ons, baits"): Counter(applied_by(row) for row in ground.applications),
    }  # fmt: skip
    every = sorted({who for counts in kinds.values() for who in counts})
    rows: list[list[Value]] = [
        [first_up(who), *(counts[who] or NONE for counts in kinds.values())] for who in every
    ]  # fmt: skip
    columns = [Column(_("Recorded by"), 1.8), *(Column(kind, 1, is_figure=True) for kind in kinds)]
    blocks: list[Block] = [
        Words(
            _("By role, as it may leave the farm. “Farm staff” is whoever counted there, by a page or a farm phone.")
        ),
        Table(_("Recorded by"), columns, rows, _("Nothing was recorded in this time.")),
    ]
    return Section("recorders", _("Who recorded what"), blocks)


def applied_by(row: Any) -> str:
    """By whom an application was recorded."""
    if row.through_link:
        return _("a hired sprayer")
    return role(row.actor_kind, "paper" if row.from_paper else "")
