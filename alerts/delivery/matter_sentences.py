"""What a digest says of open matters beside the results: what opened this week, and what nobody counts any more."""

from collections.abc import Iterator

from django.utils.translation import gettext as _

from alerts.delivery.letter import Paragraph, paragraph
from alerts.models import Alert
from alerts.models.alert import Rule
from alerts.selectors.farm_weeks import WEEK, FarmWeek
from alerts.wording.matters import matter_phrase
from alerts.wording.numbers import day_phrase
from alerts.wording.places import facility_phrase
from alerts.wording.results import heading

# What the paragraphs of counts and places tell already.
TOLD_ELSEWHERE = (Rule.OVER, Rule.SOON, Rule.RISING, Rule.OVERDUE)
STAYS_WITHOUT_COUNTS = (Rule.OVER, Rule.RISING)


def matters_paragraph(told: FarmWeek) -> Paragraph | None:
    """Traps: only 2 traps hang there (free-stall barn). Cards, calf barn: still open, not counted since June 15."""
    sentences = [*_opened(told), *_not_counted(told)]
    return paragraph(*sentences) if sentences else None


def _opened(told: FarmWeek) -> Iterator[str]:
    """What opened with this week: told once, and on the page as long as it is open."""
    names = {str(place.id): place.name for place in told.facilities.values()}
    for alert in told.asking:
        if alert.rule not in TOLD_ELSEWHERE and alert.id in told.evidence:
            said = matter_phrase(alert.rule, alert.method, told.evidence[alert.id], names)
            if said:
                yield f"{heading(alert.method)}: {said}" if alert.method else said


def _not_counted(told: FarmWeek) -> Iterator[str]:
    """Open matters of which nothing was counted this week: they stay open, and nobody knows."""
    for alert in told.alerts:
        back = _weeks_without(told, alert) if alert.rule in STAYS_WITHOUT_COUNTS else 0
        if back:
            place = f", {facility_phrase(told.facilities[alert.facility_id])}" if alert.facility_id else ""
            words = _("{method}{place}: still open, not counted since the week of {day}.")
            day = day_phrase(told.week - back * WEEK)
            yield words.format(method=heading(alert.method), place=place, day=day)


def _weeks_without(told: FarmWeek, alert: Alert) -> int:
    """How many weeks ago the place of an alert was last counted; 0 where it was this week, or not in eight weeks."""
    series = told.series.get((alert.facility_id, alert.method), ())
    counted = (back for back, row in enumerate(reversed(series)) if row is not None and row.mean is not None)
    return next(counted, 0)
