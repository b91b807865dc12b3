"""Complaints as pages tell them: what was said, what was counted then, what was answered."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from alerts.selectors import assessments_of_farms
from farms.clock import monday_of
from monitoring.methods import METHODS
from monitoring.selectors import answers_of, summaries_of, words_of_answers, words_of_complaints

WEEK = timedelta(weeks=1)
BEFORE, AFTER = 2 * WEEK, WEEK


@dataclass(frozen=True)
class CountThen:
    """What was counted by a method in a week, and how it was judged; `level` None where it was not."""

    week: date
    method: str
    mean: float | None
    at_least: bool
    devices: int
    level: float | None
    result: str


@dataclass(frozen=True)
class Answer:
    row: Any
    words: Mapping[str, str]


@dataclass(frozen=True)
class ComplaintTold:
    row: Any
    words: Mapping[str, str]
    answers: list[Answer]

    @property
    def answered(self) -> list[Answer]:
        """Those that stand."""
        return [each for each in self.answers if not each.row.replaced]


def complaints_told(farm: Any, rows: Iterable[Any]) -> list[ComplaintTold]:
    """Complaints in their order with words and answers; three queries for however many."""
    rows = list(rows)
    words = words_of_complaints(farm, [row.id for row in rows])
    answers = list(answers_of(farm).filter(complaint_id__in=[row.known_as for row in rows]))
    said = words_of_answers(farm, [each.id for each in answers])
    by_complaint: dict[UUID, list[Answer]] = {}
    for each in answers:
        by_complaint.setdefault(each.complaint_id, []).append(Answer(each, said.get(each.id, {})))
    return [ComplaintTold(row, words.get(row.id, {}), by_complaint.get(row.known_as, [])) for row in rows]


def counts_then(farm: Any, heard_on: date) -> list[CountThen]:
    """What was counted in the weeks about a day, from the readings as they stand now: two weeks before to one after."""
    return counts_about(farm, [heard_on])[heard_on]


def counts_about(farm: Any, days: Collection[date]) -> dict[date, list[CountThen]]:
    """The same of several days; two queries for however many."""
    if not days:
        return {}
    first, last = monday_of(min(days)) - BEFORE, monday_of(max(days)) + AFTER
    judged = {
        (row.week, row.method): row for row in assessments_of_farms([farm.id], first, last) if row.facility_id is None
    }
    found = [
        _count(row, judged.get((row.week, row.method)))
        for row in summaries_of(farm).filter(week__gte=first, week__lte=last)
    ]
    found.sort(key=lambda each: (each.week, list(METHODS).index(each.method)))
    return {
        day: [each for each in found if monday_of(day) - BEFORE <= each.week <= monday_of(day) + AFTER] for day in days
    }


def _count(row: Any, judged: Any) -> CountThen:
    return CountThen(
        row.week, row.method, row.mean, row.at_least, row.devices, judged.level if judged else None,
        judged.result if judged and row.mean is not None else "none",
    )  # fmt: skip
