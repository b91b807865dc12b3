"""The programme: what is watched where, who counts, and from which level the farm acts."""

from collections import Counter
from collections.abc import Iterator
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from alerts.levels import default_level
from alerts.wording.results import heading
from monitoring.methods import METHODS
from server.season_report.blocks import Block, Column, Facts, Section, Subhead, Table, Value, Words
from server.season_report.ground import Ground
from server.season_report.told import NONE, exact, first_up, role, shown, whole_farm, yes_no
from server.web.choices import label_of

LEAST = 5  # devices of a method in each housing unit


def section(ground: Ground) -> Section:
    blocks: list[Block] = [
        Words(
            _("About every seven days the same numbered places are walked in a fixed order. What hangs there is taken "
              "down, counted and hung fresh. Every Monday the week is judged against the action level.")
        ),
        Subhead(_("Buildings and what hangs there")),
        _buildings(ground),
        Words(
            _("Advised are five cards or traps of a kind in each housing unit (common practice, printed in extension "
              "guides). A building with fewer is judged as well, and its result is marked."), "soft"
        ),
        Subhead(_("Every numbered place and how it hangs")),
        _stations(ground),
        Subhead(_("Who counts")),
        Words(_("Roles, never names: names of people stay in the farm's own log.")),
        Facts(_who(ground)),
        Subhead(_("Action levels")),
        _levels(ground),
    ]  # fmt: skip
    return Section("programme", _("The programme"), blocks)


def _buildings(ground: Ground) -> Table:
    number = Counter((each.facility_id, each.method) for each in ground.stations)
    columns = [Column(_("Building or yard"), 2), Column(_("Kind"), 2)]
    columns += [Column(heading(method), 1, is_figure=True) for method in ground.methods]
    rows: list[list[Value]] = []
    for facility in ground.facilities.values():
        counts = [number[facility.id, method] for method in ground.methods]
        if any(counts):
            rows.append([facility.name, first_up(facility.get_kind_display()), *(each or NONE for each in counts)])
    return Table(_("Buildings"), columns, rows, _("No numbered place was in use in this time."))


def _stations(ground: Ground) -> Table:
    columns = [
        Column(_("Place"), 1.2), Column(_("Building or yard"), 1.5), Column(_("In use"), 1.9), Column(_("Near"), 2.3),
        Column(_("Wind"), 0.7), Column(_("Out of reach"), 1),
    ]  # fmt: skip
    return Table(_("Places"), columns, [_station(ground, each) for each in ground.stations],
                 _("No numbered place was in use in this time."))  # fmt: skip


def _station(ground: Ground, station: Any) -> list[Value]:
    siting = station.siting
    used = _("from {day}").format(day=shown(station.since))
    if station.until:
        used = _("{first} to {last}").format(first=shown(station.since), last=shown(station.until))
    near = label_of("monitoring.Siting", "near", siting.near) if siting else ""
    return [
        station.label,
        ground.place(station.facility_id, ""),
        used,
        first_up(near),
        yes_no(siting.windy) if siting else "",
        yes_no(siting.out_of_reach) if siting else "",
    ]


def _who(ground: Ground) -> list[tuple[str, Value]]:
    told = Counter(role(each.actor_kind, each.source) for each in ground.rounds)
    words = [
        (first_up(who), ngettext("{number} round", "{number} rounds", number).format(number=number))
        for who, number in told.most_common()
    ]
    return list(words) or [(_("Rounds"), _("none in this time"))]


def _levels(ground: Ground) -> Table:
    columns = [
        Column(_("What"), 1), Column(_("Where"), 1.6), Column(_("Action level"), 1, is_figure=True),
        Column(_("Unit"), 1.6), Column(_("From"), 1.3), Column(_("Whose, and why"), 3),
    ]  # fmt: skip
    return Table(_("Action levels"), columns, list(_level_rows(ground)), "")


def _level_rows(ground: Ground) -> Iterator[list[Value]]:
    """The usual one of each method, then the group's and the farm's own by the day from which each held."""
    for method in ground.methods:
        usual = default_level(method)
        if usual.value is not None:
            unit = str(METHODS[method].unit)
            yield [heading(method), whole_farm(), exact(usual.value), unit, NONE, _("usual: common practice")]
        own: list[tuple[Any, str, str]] = [
            (row, _("the group's"), whole_farm()) for row in ground.group_levels if row.method == method
        ]
        own += [
            (row, _("the farm's own"), ground.place(row.facility_id, whole_farm()))
            for row in ground.farm_levels
            if row.method == method
        ]
        for row, whose, where in sorted(own, key=lambda each: (each[0].valid_from, each[0].set_at)):
            if row.valid_from <= ground.wanted.until:
                value: Value = NONE if row.taken_back else exact(row.value)
                told = _("{whose}, taken back").format(whose=whose) if row.taken_back else whose
                yield [
                    heading(method),
                    where,
                    value,
                    str(METHODS[method].unit),
                    row.valid_from,
                    f"{told}: {row.reason}",
                ]
