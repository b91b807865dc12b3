"""What somebody asks a season report to be."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from uuid import UUID

from django.utils.translation import gettext_lazy as _

from farms.errors import Detail, Forbidden, Invalid

# The one outline that may tell complaints.
WITH_COMPLAINTS = "neighbor"
# Ten seasons: more is a pile that nobody reads, and nobody has counted so long.
LONGEST = timedelta(days=3_660)
UNTIL_FIRST = _("The last day comes before the first one. Change one of the two.")
TOO_LONG = _("This is more than ten years. Make a report for each part of it.")
TO_COME = _("This day is still to come. A report ends today or earlier.")
COMPLAINTS_ELSEWHERE = _(
    "Complaints go into the report for a neighbor's complaint and into no other. Choose that one, or leave them out."
)
UNKNOWN_COMPLAINT = _("There is no such complaint on this farm. Choose from those that are noted.")


class ReportRefused(Invalid):
    code = "report_refused"
    message = _("There is no such report. Correct what is named below.")


class NamesAreTheOwners(Forbidden):
    code = "names_are_the_owners"
    message = _("Only an owner of the farm puts names into a report. Leave them out, or ask the owner to make it.")


@dataclass(frozen=True)
class Wanted:
    """`since` to `until`, both included. `names`: who applied, and what people wrote; an owner's choice alone.

    `picture`: what lies under the plan, which may show where the farm is. `evidence`: attached to the PDF.
    `complaints`: those that were ticked, by the ids by which they are known; in one outline alone.
    """

    outline: str
    since: date
    until: date
    language: str
    paper: str
    names: bool = False
    picture: bool = False
    evidence: bool = True
    complaints: tuple[UUID, ...] = ()

    def check(self, today: date, *, is_owner: bool) -> None:
        """Raises ReportRefused, NamesAreTheOwners."""
        faults = []
        if self.until < self.since:
            faults.append(Detail("/until", str(UNTIL_FIRST), "until_before_since"))
        elif self.until - self.since > LONGEST:
            faults.append(Detail("/since", str(TOO_LONG), "too_long"))
        if self.until > today:
            faults.append(Detail("/until", str(TO_COME), "future_date"))
        if self.complaints and self.outline != WITH_COMPLAINTS:
            faults.append(Detail("/complaints", str(COMPLAINTS_ELSEWHERE), "complaints_elsewhere"))
        if faults:
            raise ReportRefused(errors=faults)
        if self.names and not is_owner:
            raise NamesAreTheOwners()


def usual_days(seasons: Sequence[tuple[date, date | None]], today: date) -> tuple[date, date]:
    """The newest season that has begun, up to today; a year where there is none. `seasons`: opens, closes."""
    begun = [each for each in seasons if each[0] <= today]
    if not begun:
        return today - timedelta(days=365), today
    opens, closes = max(begun)
    return opens, min(closes or today, today)
