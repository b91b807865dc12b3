"""What the sections of a report read: each kind of record once, by the selectors, whoever asks for it."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q

from alerts.selectors import own_levels_of, set_levels_of_group
from alerts.selectors.alerts import alerts_of, histories_of, notes_of_alerts
from alerts.selectors.results import means_of_farms
from alerts.selectors.season_weeks import SeasonWeek, season_weeks_of
from farms.clock import local_date, monday_of
from farms.errors import Detail
from farms.lookups import array_of
from farms.selectors import facilities_of, seasons_of
from monitoring.selectors import (
    Done,
    WorkReview,
    applications_of,
    arrivals_of,
    cards_kept_of,
    certifier_answers_of,
    complaints_of,
    findings_of,
    mended_findings,
    organic_marks_of,
    people_of,
    planned_works_of,
    plans_of_rows,
    review_of_works,
    rounds_of,
    stations_of,
    steps_of_findings,
    walks_of,
    words_about,
    words_of_findings,
    words_of_steps,
    works_on_record,
)
from server.season_report.wanted import UNKNOWN_COMPLAINT, ReportRefused, Wanted
from server.web.complaints import ComplaintTold, CountThen, complaints_told, counts_about
from server.web.season import marks_of

if TYPE_CHECKING:
    from alerts.models import Alert, AlertEvent, FarmLevel, GroupLevel
    from alerts.selectors.results import WeekMean
    from farms.models import Facility, Farm
    from monitoring.models import CardsKept, CertifierAnswer, Finding, OrganicMark, Reading, Round, Station, Walk
    from monitoring.selectors import Plan
    from server.web.season import Mark

LATE_AFTER = 14  # days; monitoring.arrays marks the same
SHORT, LONG = 3, 14  # days up, under and over which a count is kept and marked


@dataclass(frozen=True)
class Span:
    """A season of the farm, or what of it lies in the report's time."""

    first: date
    last: date

    def holds(self, day: date) -> bool:
        return self.first <= day <= self.last

    @property
    def years(self) -> str:
        """2026; 2026/2027 where it goes over the new year."""
        return str(self.first.year) if self.first.year == self.last.year else f"{self.first.year}/{self.last.year}"


@dataclass(frozen=True)
class Ground:
    """One farm, what is wanted of it, and when. Whoever acts sees what row security lets them see."""

    farm: "Farm"
    wanted: Wanted
    now: datetime

    def check(self, *, is_owner: bool) -> None:
        """Raises ReportRefused, NamesAreTheOwners."""
        self.wanted.check(self.today, is_owner=is_owner)
        if len(self.complaints) < len(set(self.wanted.complaints)):
            raise ReportRefused(errors=[Detail("/complaints", str(UNKNOWN_COMPLAINT), "unknown_complaint")])

    @cached_property
    def today(self) -> date:
        return local_date(self.now, self.farm.time_zone)

    @cached_property
    def days(self) -> tuple[date, date]:
        return self.wanted.since, self.wanted.until

    def on_the_clock(self, moment: datetime) -> datetime:
        """By the farm's clock, without a zone: as it is shown."""
        return moment.astimezone(ZoneInfo(self.farm.time_zone)).replace(tzinfo=None, second=0, microsecond=0)

    @cached_property
    def moments(self) -> tuple[datetime, datetime]:
        """From when to when the days last, the last one not included."""
        zone, (first, last) = ZoneInfo(self.farm.time_zone), self.days
        ends = last + timedelta(days=1)
        return datetime(*first.timetuple()[:3], tzinfo=zone), datetime(*ends.timetuple()[:3], tzinfo=zone)

    # --- the farm ---

    @cached_property
    def facilities(self) -> "dict[UUID, Facility]":
        return {each.id: each for each in facilities_of(self.farm)}

    def place(self, facility_id: UUID | None, whole: str) -> str:
        """What the farm calls a building; `whole` for the whole farm."""
        found = self.facilities.get(facility_id) if facility_id else None
        return found.name if found else whole

    @cached_property
    def stations(self) -> "list[Station]":
        """Those in use at any time of the report, each with its siting, in walking order."""
        first, last = self.days
        known = stations_of(self.farm)
        return [each for each in known if each.since <= last and (each.until is None or each.until >= first)]

    @cached_property
    def methods(self) -> list[str]:
        """Those of these stations, in their usual order."""
        from monitoring.methods import METHODS

        used = {each.method for each in self.stations}
        return [method for method in METHODS if method in used]

    @cached_property
    def spans(self) -> list[Span]:
        """The seasons within the days, oldest first; what lies outside every season is one span of its own kind."""
        first, last = self.days
        rows = sorted((row.opens_on, row.closes_on or last) for row in seasons_of(self.farm))
        spans = [Span(max(opens, first), min(closes, last)) for opens, closes in rows]
        return [span for span in spans if span.first <= span.last] or [Span(first, last)]

    # --- what was counted ---

    @cached_property
    def arrivals(self) -> "list[Reading]":
        """Every reading of these days, corrected ones and corrections too, each with round and station; two queries."""
        related = arrivals_of(self.farm).select_related("round", "station")
        rows = list(related.filter(taken_on__range=self.days))
        inside = {row.id for row in rows}
        corrected = array_of({row.corrects_id for row in rows if row.corrects_id} - inside)
        beside = related.filter(Q(id__any_of=corrected) | Q(corrects_id__any_of=array_of(inside)))
        return rows + [row for row in beside if row.id not in inside]

    @cached_property
    def corrected_by(self) -> "dict[UUID, Reading]":
        return {row.corrects_id: row for row in self.arrivals if row.corrects_id}

    @cached_property
    def by_id(self) -> "dict[UUID, Reading]":
        return {row.id: row for row in self.arrivals}

    @cached_property
    def readings(self) -> "list[Reading]":
        """Those that stand, of these days, oldest first. One that was withdrawn is kept as a gap."""
        first, last = self.days
        standing = [row for row in self.arrivals if row.id not in self.corrected_by and first <= row.taken_on <= last]
        return sorted(standing, key=lambda row: (row.taken_on, row.id))

    @cached_property
    def rounds(self) -> "list[Round]":
        return list(rounds_of(self.farm).filter(walked_on__range=self.days).order_by("walked_on", "id"))

    @cached_property
    def weeks(self) -> dict[str, dict[date, SeasonWeek]]:
        """By method and Monday what was concluded for the whole farm."""
        return season_weeks_of(self.farm, monday_of(self.wanted.since), self.wanted.until)

    @cached_property
    def means(self) -> "list[WeekMean]":
        """The same of the farm and of each building."""
        return means_of_farms([self.farm.id], monday_of(self.wanted.since) - timedelta(weeks=4), self.wanted.until)

    @cached_property
    def farm_levels(self) -> "list[FarmLevel]":
        return list(own_levels_of(self.farm))

    @cached_property
    def group_levels(self) -> "list[GroupLevel]":
        return list(set_levels_of_group(self.farm.group))

    # --- what was done ---

    @cached_property
    def works(self) -> list[Any]:
        """Oldest first; `taken_back` marks what counts nowhere."""
        return list(works_on_record(self.farm).filter(done_on__range=self.days).order_by("done_on", "id"))

    @cached_property
    def standing_works(self) -> list[Any]:
        return [work for work in self.works if not work.taken_back]

    @cached_property
    def plans(self) -> "list[Plan]":
        """Those of which a day lies in the report's time, oldest first."""
        first, last = self.days
        plans = plans_of_rows(reversed(list(planned_works_of(self.farm))))
        return [plan for plan in plans if any(first <= day <= last for day in plan.days)]

    def words_about(self, ids: Sequence[UUID]) -> dict[UUID, str]:
        return words_about(self.farm, ids) if ids else {}

    @cached_property
    def applications(self) -> list[Any]:
        """Oldest first, replaced ones and those that the farm said weren't so included."""
        begins, ends = self.moments
        return list(reversed(applications_of(self.farm).filter(begins_at__gte=begins, begins_at__lt=ends)))

    @cached_property
    def standing_applications(self) -> list[Any]:
        return [row for row in self.applications if not row.replaced and row.confirmed is not False]

    @cached_property
    def marks(self) -> "tuple[Mark, ...]":
        """Work and applications by the letters of the farm's page, the newest first."""
        applied = [Done.of_application(row, self.farm.time_zone) for row in self.standing_applications]
        return marks_of(self.standing_works, applied)

    @cached_property
    def review(self) -> WorkReview:
        """What became of the counts after all that was done in these days, as the farm's page tells it today."""
        return review_of_works(self.farm, *self.days, on=self.today)

    @cached_property
    def people(self) -> Mapping[UUID, Any]:
        """Names of who applied, where they are wanted."""
        return people_of(self.applications) if self.wanted.names else {}

    # --- where flies hatch ---

    @cached_property
    def walks(self) -> "list[Walk]":
        """Oldest first."""
        return list(walks_of(self.farm).filter(walked_on__range=self.days).order_by("walked_on", "id"))

    @cached_property
    def findings(self) -> list[Any]:
        """Those that stand, oldest first, with how each stands by now; what was looked at without a find too."""
        return list(findings_of(self.farm).filter(seen_on__range=self.days).order_by("seen_on", "id"))

    @cached_property
    def mended_findings(self) -> "list[Finding]":
        return list(mended_findings(self.farm, *self.days))

    @cached_property
    def finding_words(self) -> Mapping[UUID, Mapping[str, str]]:
        """What people wrote, where it is wanted; of the versions before, too."""
        versions = {row.id for row in self.mended_findings} | {row.replaces_id for row in self.mended_findings}
        ids = {row.id for row in self.findings} | versions
        return words_of_findings(self.farm, filter(None, ids)) if self.wanted.names and ids else {}

    @cached_property
    def finding_steps(self) -> dict[UUID, list[Any]]:
        """By the id by which a finding is known."""
        known = [row.known for row in self.findings if not row.nothing]
        return steps_of_findings(self.farm, known) if known else {}

    @cached_property
    def step_words(self) -> Mapping[UUID, Mapping[str, str]]:
        ids = [step.id for steps in self.finding_steps.values() for step in steps]
        return words_of_steps(self.farm, ids) if self.wanted.names and ids else {}

    # --- what was said ---

    @cached_property
    def complaints(self) -> list[ComplaintTold]:
        """Those that were ticked, oldest first, with words and answers."""
        wanted = self.wanted.complaints
        if not wanted:
            return []
        return complaints_told(self.farm, reversed(complaints_of(self.farm).filter(known__any_of=array_of(wanted))))

    @cached_property
    def counts_about(self) -> dict[date, list[CountThen]]:
        """By the day on which each was heard."""
        return counts_about(self.farm, {told.row.heard_on for told in self.complaints})

    # --- the certifier, the cards ---

    @cached_property
    def organic_marks(self) -> "list[OrganicMark]":
        return list(organic_marks_of(self.farm))

    @cached_property
    def certifier_answers(self) -> "list[CertifierAnswer]":
        return list(certifier_answers_of(self.farm))

    @cached_property
    def cards_kept(self) -> "list[CardsKept]":
        return list(cards_kept_of(self.farm))

    # --- what followed ---

    @cached_property
    def alerts(self) -> "list[Alert]":
        """Open at any time of the report, oldest first, each with its building."""
        begins, ends = self.moments
        open_then = Q(closed_at__isnull=True) | Q(closed_at__gte=begins)
        rows = alerts_of(self.farm).filter(open_then, opened_at__lt=ends).select_related("facility")
        return list(rows.order_by("opened_at", "id"))

    @cached_property
    def histories(self) -> "dict[UUID, list[AlertEvent]]":
        return histories_of(self.alerts)

    @cached_property
    def notes(self) -> Mapping[UUID, str]:
        """What was written about alerts, by its event, where it is wanted."""
        return notes_of_alerts(self.alerts) if self.wanted.names else {}

    @cached_property
    def gaps(self) -> Counter[str]:
        """How many readings have no count, by the reason."""
        return Counter(row.reason for row in self.readings if row.reason)


def is_late(row: "Reading") -> bool:
    """Whether it came in more than two weeks after the day it speaks of."""
    received = row.received_at.astimezone(ZoneInfo(row.zone)).date()
    return (received - row.taken_on).days > LATE_AFTER


def days_up(row: "Reading") -> int | None:
    return (row.taken_on - row.hung_on).days if row.hung_on else None
