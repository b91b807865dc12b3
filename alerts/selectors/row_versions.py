"""What is looked at to know that nothing changed (`farms.row_versions`), where the farm's chain alone doesn't tell."""

from alerts.models import Alert, Assessment, BorrowedFigures, CheckFailure, Digest, ListedRise
from farms.row_versions import OF_GROUP, Rows

# A line of a list for a week: parameters `first` (the first Monday told) and `week`.
LINE_TOLD = (
    Rows(Assessment, "t.week BETWEEN %(first)s AND %(week)s"),
    Rows(Alert, "t.closed_at IS NULL"),
    Rows(ListedRise, "t.week = %(week)s"),
    Rows(CheckFailure, "t.week = %(week)s"),
)
# A farm's page: all its results and matters, what its group lends it, its mails.
FARM_TOLD = (
    Rows(Assessment),
    Rows(Alert),
    Rows(CheckFailure),
    Rows(Digest),
    Rows(BorrowedFigures, of_farm="f.id", beside=OF_GROUP),
)
