"""A farm's week as its page tells it: the sentences of the mail, and the figures they are about."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from alerts.delivery import sentences
from alerts.delivery.work_sentences import work_paragraph
from alerts.wording import question_text
from alerts.wording.results import heading
from alerts.wording.temperatures import degrees
from monitoring.methods import METHODS

if TYPE_CHECKING:
    from alerts.delivery.letter import Paragraph
    from alerts.models import Assessment
    from alerts.selectors.farm_weeks import FarmWeek
    from alerts.selectors.results import WeekMean


@dataclass(frozen=True)
class BuildingLine:
    """One facility (or the whole farm) and method this week, with its last eight weeks. None = not counted."""

    name: str
    row: "Assessment"
    weeks: tuple[float | None, ...]


@dataclass(frozen=True)
class Share:
    """How much of the week's catch a station holds, and what its siting makes one ask there."""

    percent: int
    question: str


def told_of(week: "FarmWeek") -> list["Paragraph"]:
    """The week in words, exactly as the mail has it: each method, where to look, work, the next round."""
    others = (sentences.where_paragraph, work_paragraph, sentences.next_round_paragraph)
    return sentences.count_paragraphs(week) + [told for write in others if (told := write(week)) is not None]


def building_lines(week: "FarmWeek") -> list[BuildingLine]:
    """Building by building in walking order, then the whole farm where a method is used in more than one."""
    rows = [(week.facilities[row.facility_id].name, row) for row in week.facility_rows if row.facility_id]
    rows += [(_("whole farm"), row) for row in week.farm_rows.values() if not week.only_place(row)]
    return [BuildingLine(name, row, _means(week.series[row.facility_id, row.method])) for name, row in rows]


def _means(rows: Sequence["WeekMean | None"]) -> tuple[float | None, ...]:
    return tuple(row.mean if row is not None else None for row in rows)


def shares_of(week: "FarmWeek") -> Mapping[str, Share]:
    """The stations that hold most of the farm's week, by their id as text."""
    places = [place for row in week.farm_rows.values() for place in row.evidence.get("places", ())]
    return {place["station"]: Share(round(100 * place["share"]), question_text(place["question"])) for place in places}


def how_it_was_got(row: "Assessment", known: Sequence[str] = ()) -> tuple[str, list[str]]:
    """How this week's figure was got, sentence by sentence; `known`: how well it is, and what it borrows."""
    told = [_devices(row)]
    if METHODS[row.method].hangs:
        told.append(_("Each count is brought to 7 days by its own days up: 80 in 5 days are told as 112."))
    flags = [str(FLAGS[flag]).format(cold=degrees(15)) for flag in row.evidence.get("flags", ()) if flag in FLAGS]
    return heading(row.method), [*told, *_interval(row), *flags, *known, str(WHOSE_LEVEL.get(row.level_of, ""))]


def _devices(row: "Assessment") -> str:
    values = {"devices": row.devices, "missing": row.missing, "what": METHODS[row.method].name}
    told = _("The mean of {devices} {what}.").format(**values)
    if row.missing:
        told += " " + _("{missing} without a count are left out, not taken as zero.").format(**values)
    return told


def _interval(row: "Assessment") -> Iterable[str]:
    if row.evidence.get("interval", "") in ("one_station", "two_stations"):
        yield _("Fewer than three were counted, so no range can be given.")
    elif row.low is not None:
        if METHODS[row.method].hangs:
            yield _("The range in brackets says how far the mean may be off: it comes from how much the places differ.")
        else:
            yield _("The range in brackets comes from how much the animals differ: it is about these animals that day.")
    if row.few_devices:
        yield _("Fewer than five were counted: it is judged all the same, but take it as a first look.")


FLAGS = {
    "late": gettext_lazy("Some counts came more than two weeks late."),
    "part": gettext_lazy("On some only a part was counted, and the whole was worked out from it."),
    "cup": gettext_lazy("Some traps were measured by the cup, about 250 flies each: an estimate."),
    "short": gettext_lazy("Some hung for less than three days."),
    "long": gettext_lazy("Some hung for more than 14 days."),
    "at_least": gettext_lazy("Some had too many to count, so the true mean is higher."),
    "sprayed": gettext_lazy("Animals were sprayed or poured that week, so a low count says little."),
    "cold": gettext_lazy("It was below {cold}, when these flies hardly feed, so a low count says little."),
}
WHOSE_LEVEL = {
    "default": gettext_lazy("The action level is the trade's usual one, a place to start."),
    "group": gettext_lazy("The action level is the group's."),
    "farm": gettext_lazy("The action level is the farm's own."),
    "facility": gettext_lazy("The action level is this building's own."),
}
