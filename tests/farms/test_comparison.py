"""From when to when a farm counts in region reports, by its group's calendar."""

from datetime import UTC, date, datetime

import pytest

from farms.comparison import comparison_of
from farms.models import Consent, Farm, Group

# A farm beyond the border, whose own clock is an hour behind its group's.
FARM = Farm(time_zone="America/Denver", group=Group(time_zone="America/Chicago"))


def consent(given: str, withdrawn: str | None = None, kind: str = "regional") -> Consent:
    moments = [datetime.fromisoformat(each).replace(tzinfo=UTC) if each else None for each in (given, withdrawn)]
    return Consent(kind=kind, given_at=moments[0], withdrawn_at=moments[1])


@pytest.mark.parametrize(("consents", "now", "then"), [
    ([], False, False),
    ([consent("2026-03-31T12:00")], True, True),
    ([consent("2026-04-02T12:00")], False, True),
    ([consent("2026-03-31T12:00", "2026-05-01T12:00")], True, False),
    ([consent("2026-04-02T12:00", "2026-05-01T12:00")], False, False),
    ([consent("2026-01-02T12:00", "2026-03-01T12:00")], False, False),
    ([consent("2026-01-02T12:00", "2026-05-01T12:00"), consent("2026-05-02T12:00")], True, True),
    ([consent("2026-03-31T12:00", kind="adviser")], False, False),
    # Chicago's March lasts until five o'clock UTC of the first of April.
    ([consent("2026-04-01T04:59")], True, True),
    ([consent("2026-04-01T05:01")], False, True),
])  # fmt: skip
def test_who_had_agreed_when_the_quarter_began_counts_until_it_ends(consents, now, then):
    told = comparison_of(FARM, consents, datetime(2026, 6, 1, 18, tzinfo=UTC))
    assert (told.counts_now, told.goes_on) == (now, then)
    assert (told.until, told.begins_on) == (date(2026, 6, 30), date(2026, 7, 1))


def test_the_last_quarter_is_followed_by_the_first_of_the_next_year():
    told = comparison_of(FARM, [], datetime(2027, 1, 1, 5, 59, tzinfo=UTC))
    assert (told.until, told.begins_on) == (date(2026, 12, 31), date(2027, 1, 1))
