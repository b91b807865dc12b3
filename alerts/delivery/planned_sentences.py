"""What a digest says of planned work, in the language that is active: what is overdue, and the next seven days."""

from collections.abc import Callable, Iterable, Sequence

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from alerts.delivery.letter import Paragraph, paragraph
from alerts.selectors.farm_weeks import FarmWeek
from alerts.wording.numbers import day_phrase, weekday_phrase
from alerts.wording.places import facility_phrase
from monitoring.selectors import PlannedDay

# A mail stays short: the rest stands on the farm's page.
MOST_NAMED = 3


def planned_paragraph(told: FarmWeek) -> Paragraph | None:
    """Planned: clean-out in the calf barn, Thursday, July 9. Overdue: bedding change, since June 30."""
    overdue = [each for each in told.planned_due if each.day < told.day]
    coming = [*(each for each in told.planned_due if each.day == told.day), *told.planned_ahead]
    said = []
    if coming:
        said.append(_("Planned: {list}.").format(list=_listed(_once_each(coming), _on_day)))
    if overdue:
        said.append(_("Overdue: {list}.").format(list=_listed(overdue, _since_day)))
    return paragraph(*said) if said else None


def _once_each(days: Iterable[PlannedDay]) -> list[PlannedDay]:
    """Of a plan that falls on several of the days the first."""
    found: dict[object, PlannedDay] = {}
    for each in days:
        found.setdefault(each.planned.id, each)
    return list(found.values())


def _listed(days: Sequence[PlannedDay], say: Callable[[PlannedDay], str]) -> str:
    named = [say(each) for each in days[:MOST_NAMED]]
    more = len(days) - len(named)
    if more:
        named.append(ngettext("{n} more", "{n} more", more).format(n=more))
    return "; ".join(named)


def _what(planned: PlannedDay) -> str:
    """Clean-out in the calf barn."""
    work = str(planned.planned.get_kind_display())
    facility = planned.planned.facility
    return work if facility is None else _("{work} in {place}").format(work=work, place=facility_phrase(facility))


def _on_day(planned: PlannedDay) -> str:
    return _("{what}, {day}").format(what=_what(planned), day=weekday_phrase(planned.day))


def _since_day(planned: PlannedDay) -> str:
    return _("{what}, since {day}").format(what=_what(planned), day=day_phrase(planned.day))
