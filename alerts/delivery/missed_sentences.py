"""What a digest or a letter says of weeks that were judged and not told, as after an outage."""

from collections.abc import Collection
from datetime import date, timedelta
from uuid import UUID

from django.db.models import Max
from django.utils.translation import gettext as _

from alerts.delivery.letter import Paragraph, paragraph
from alerts.models import Digest
from alerts.models.outbox import MIDWEEK, occasion_of, week_of
from alerts.selectors.farm_weeks import FarmWeek
from alerts.selectors.told import weeks_told_before
from alerts.wording.numbers import day_phrase
from alerts.wording.results import WeeksResult, level_phrase, mean_phrase
from farms.lookups import array_of

WEEK = timedelta(days=7)


def weeks_last_told(farm_ids: Collection[UUID], week: date) -> dict[UUID, date]:
    """The newest week before this one (their Mondays) of which each farm had its weekly mail, or was told otherwise."""
    weekly = Digest.objects.filter(farm_id__any_of=array_of(farm_ids)).exclude(occasion__endswith=MIDWEEK)
    # Written as 2026-W09, weeks are in the order of their letters.
    earlier = weekly.filter(occasion__lt=occasion_of(week)).order_by().values_list("farm_id")
    mailed = {farm_id: week_of(occasion) for farm_id, occasion in earlier.annotate(Max("occasion"))}
    told = weeks_told_before(farm_ids, week)
    return {farm_id: max(each[farm_id] for each in (mailed, told) if farm_id in each) for farm_id in {*mailed, *told}}


def missed_paragraph(told: FarmWeek, last_told: date | None) -> Paragraph | None:
    """Earlier weeks, judged late or not told before. Week of April 13: 118 specks a card, over your action level."""
    if last_told is None:
        return None
    weeks = [told.first_week + number * WEEK for number in range((told.week - told.first_week) // WEEK)]
    missed = [(week, results) for week in weeks if week > last_told and (results := _results(told, week))]
    words = _("Week of {day}: {results}.")
    said = [words.format(day=day_phrase(week), results=results) for week, results in missed]
    return paragraph(_("Earlier weeks, judged late or not told before."), *said) if said else None


def _results(told: FarmWeek, week: date) -> str:
    """What was counted on the whole farm in one of the weeks told: 118 specks a card, over your action level of 100."""
    place = (week - told.first_week) // WEEK
    rows = [told.series[None, method][place] for method in told.farm_rows]
    return "; ".join(_result(row) for row in rows if row is not None and row.mean is not None)


def _result(row: WeeksResult) -> str:
    level = level_phrase(row)
    return f"{mean_phrase(row)}, {level[:1].lower()}{level[1:]}" if level else mean_phrase(row)
