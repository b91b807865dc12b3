"""What a digest says of the round that came in after the week was judged: one line, the plain comparison."""

from django.utils.translation import gettext as _

from alerts.delivery.letter import Paragraph, paragraph
from alerts.models import Assessment
from alerts.selectors.farm_weeks import FarmWeek
from alerts.wording.numbers import weekday_phrase
from alerts.wording.places import facility_phrase
from alerts.wording.results import level_phrase, mean_phrase
from monitoring.selectors import FacilityResult

MOST_TOLD = 3  # facilities and methods


def since_paragraph(told: FarmWeek) -> Paragraph | None:
    """Since the check, round of Tuesday, July 7: in the calf barn 96 specks a card, near your action level of 100."""
    if told.since is None:
        return None
    counted = [result for result in told.since.results if result.mean is not None]
    highest = sorted(counted, key=lambda result: -(result.mean or 0) / (result.level or float("inf")))
    if not highest:
        return None
    words = _("Since the check, round of {day}: {told}.")
    each = "; ".join(_compared(result) for result in highest[:MOST_TOLD])
    return paragraph(words.format(day=weekday_phrase(told.since.walked_on), told=each))


def _compared(result: FacilityResult) -> str:
    row = Assessment(
        method=result.method.code, mean=result.mean, at_least=result.at_least, level=result.level, result=result.word
    )
    told = _("in {place} {mean}").format(place=facility_phrase(result.facility), mean=mean_phrase(row))
    level = level_phrase(row)
    return f"{told}, {level[0].lower()}{level[1:]}" if level else told
