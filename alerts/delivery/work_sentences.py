"""What a digest says of the work done against flies, in the language that is active."""

from collections.abc import Mapping
from typing import TYPE_CHECKING
from uuid import UUID

from django.utils.translation import gettext as _

from alerts.delivery.chart import letter_of
from alerts.delivery.letter import Paragraph, paragraph
from alerts.selectors.farm_weeks import FarmWeek
from alerts.wording.numbers import day_phrase
from alerts.wording.places import facility_phrase
from alerts.wording.works import since_then

if TYPE_CHECKING:
    from farms.models import Facility
    from monitoring.selectors import Done


def work_paragraph(told: FarmWeek) -> Paragraph | None:
    """Last noted: clean-out in the calf barn, June 18 (C in the chart). Since then: too early to tell."""
    if told.work is None:
        return paragraph(_("No work has been noted yet this season.")) if told.over or told.rising else None
    work, last = told.work, last_noted(told.work, told.facilities)
    if work.done_on >= told.first_week:
        last += " " + _("({letter} in the chart)").format(letter=letter_of(work.label))
    return paragraph(f"{last}.", *(since_then(told.work_effect, told.facilities) if told.work_effect else ()))


def last_noted(work: "Done", facilities: "Mapping[UUID, Facility]") -> str:
    """Last noted: clean-out in the calf barn, June 18."""
    facts = {"work": str(work.label), "day": day_phrase(work.done_on)}
    if work.facility_id is None:
        return _("Last noted: {work}, {day}").format(**facts)
    place = facility_phrase(facilities[work.facility_id])
    return _("Last noted: {work} in {place}, {day}").format(place=place, **facts)
