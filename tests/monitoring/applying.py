"""Short ways to note applications in these tests. Products are invented."""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from farms.models import Farm
from monitoring.errors import ApplicationRefused
from monitoring.models import Application
from monitoring.rules.application import Measured, People
from monitoring.rules.label import Label
from monitoring.services import Applied, Writer, record_application
from tests.cast import NOW
from tests.monitoring.sending import STAFF

HOUR = timedelta(hours=1)
LABEL = Label(
    name="Invented Wall Spray", registration_number="00000-1", substances="inventedthrin", irac_groups=("3A",),
    kind="residual", reentry_hours=12, reentry_words="until sprays have dried", milk_hours=24, meat_days=3,
)  # fmt: skip
MEASURED = Measured(Decimal("2.5"), "gal", Decimal(450), "m2")
PEOPLE = People("Pat Invented", "C-123", "", "Northfield")
APPLIED = Applied(LABEL, MEASURED, PEOPLE, "house_flies", NOW - 3 * HOUR, NOW - 2 * HOUR)


def applied(label: dict[str, Any] | None = None, **more: Any) -> Applied:
    """Something applied this morning; what the test is about may be given."""
    return replace(APPLIED, label=replace(LABEL, **(label or {})), **more)


def note(farm: Farm, what: Applied = APPLIED, **more: Any) -> Application:
    by = more.pop("by", Writer(STAFF))
    return record_application(farm=farm, applied=what, by=by, now=more.pop("now", NOW), **more)


def refused(farm: Farm, what: Applied, **more: Any) -> dict[str, str]:
    """What is said of each field of something that isn't noted."""
    with pytest.raises(ApplicationRefused) as caught:
        note(farm, what, **more)
    return {each.pointer: each.detail for each in caught.value.errors}
