"""What is looked at to know that nothing changed (`farms.row_versions`), where the farm's chain alone doesn't tell."""

from alerts.models import (
    Alert,
    Assessment,
    BorrowedFigures,
    CheckFailure,
    Digest,
    ListedRise,
    StoppedAddress,
    Told,
)
from alerts.models.outbox import DeliveryState
from farms.row_versions import OF_GROUP, OF_PEOPLE, Rows

# A line of a list for a week: parameters `first` (the first Monday told), `week`, `occasion`.
LINE_TOLD = (
    Rows(Assessment, "t.week BETWEEN %(first)s AND %(week)s", only_added=True),
    Rows(Alert, "t.closed_at IS NULL"),
    Rows(ListedRise, "t.week = %(week)s"),
    Rows(CheckFailure, "t.week = %(week)s"),
    Rows(Told, "t.week = %(week)s"),
    Rows(Digest, f"t.occasion = %(occasion)s AND t.state = '{DeliveryState.REFUSED}'"),
    Rows(StoppedAddress, of_farm="m.farm_id", beside=f"{OF_PEOPLE} = t.user_id"),
)
# A farm's page: all its results and matters, what its group lends it, its mails.
FARM_TOLD = (
    Rows(Assessment),
    Rows(Alert),
    Rows(CheckFailure),
    Rows(Digest),
    Rows(BorrowedFigures, of_farm="f.id", beside=OF_GROUP),
)
