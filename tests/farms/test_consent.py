"""A farm's yes to its adviser and to the regional comparison."""

import pytest

from farms import services
from farms.ledger import verify_links
from farms.models import Farm, LedgerEntry, User
from farms.selectors import consents_of
from tests.cast import NOW, acting

pytestmark = pytest.mark.django_db


def test_the_farm_lets_itself_be_compared(northfield: Farm, anna: User):
    with acting(anna):
        consent = services.give_consent(farm=northfield, kind="regional", by=anna, now=NOW)
        assert consents_of(northfield).first() == consent
        entry = LedgerEntry.objects.get(farm=northfield, number=consent.entry)
        assert (entry.kind, entry.actor_kind, entry.actor_id) == ("consent_given", "farm_staff", anna.id)
        assert verify_links(northfield.id) == []
