"""A farm's yes to its adviser and to the regional comparison, and its end: entries of its chain."""

from datetime import timedelta
from hashlib import sha256

import pytest

from farms import access, services
from farms.errors import Invalid, Missing
from farms.ledger import verify_links
from farms.models import Consent, Farm, LedgerEntry, User
from farms.selectors import consents_of
from farms.services.consent import given_hash, withdrawn_hash
from tests.cast import NOW, acting, as_factory, as_role, make_group_member

pytestmark = pytest.mark.django_db


def test_the_farm_lets_itself_be_compared(northfield: Farm, anna: User):
    with acting(anna):
        consent = services.give_consent(farm=northfield, kind="regional", by=anna, now=NOW)
        assert consents_of(northfield).first() == consent
        entry = LedgerEntry.objects.get(farm=northfield, number=consent.entry)
        assert (entry.kind, entry.actor_kind, entry.actor_id) == ("consent_given", "farm_staff", anna.id)
        assert verify_links(northfield.id) == []


def test_the_adviser_sees_the_farm_until_the_consent_ends(northfield: Farm, anna: User, dana: User):
    with acting(dana):
        assert access.farm_for(dana, northfield.id) == northfield
    with acting(anna):
        ended = services.withdraw_consent(consent=consents_of(northfield).get(adviser=dana), by=anna, now=NOW)
        assert ended.withdrawn_at == NOW
        assert LedgerEntry.objects.filter(farm=northfield, kind="consent_withdrawn").count() == 1
        assert verify_links(northfield.id) == []
    with acting(dana), pytest.raises(Missing):
        access.farm_for(dana, northfield.id)


def test_the_cohort_counts_the_farm_while_its_consent_lasts(northfield: Farm, anna: User):
    with as_role("cohort"):
        assert Farm.objects.count() == 0
    with acting(anna):
        consent = services.give_consent(farm=northfield, kind="regional", by=anna, now=NOW)
    with as_role("cohort"):
        assert Farm.objects.get() == northfield
    with acting(anna):
        services.withdraw_consent(consent=consent, by=anna, now=NOW)
    with as_role("cohort"):
        assert Farm.objects.count() == 0


def test_a_second_end_changes_nothing(northfield: Farm, anna: User):
    later = NOW + timedelta(days=1)
    with acting(anna):
        consent = services.give_consent(farm=northfield, kind="regional", by=anna, now=NOW)
        services.withdraw_consent(consent=consent, by=anna, now=NOW)
        again = services.withdraw_consent(consent=Consent.objects.get(pk=consent.pk), by=anna, now=later)
        assert again.withdrawn_at == NOW
        assert LedgerEntry.objects.filter(kind="consent_withdrawn").count() == 1


def test_what_was_agreed_can_be_agreed_again_after_its_end(northfield: Farm, anna: User):
    with acting(anna):
        first = services.give_consent(farm=northfield, kind="regional", by=anna, now=NOW)
        with pytest.raises(services.ConsentAlreadyGiven):
            services.give_consent(farm=northfield, kind="regional", by=anna, now=NOW)
        services.withdraw_consent(consent=first, by=anna, now=NOW)
        assert services.give_consent(farm=northfield, kind="regional", by=anna, now=NOW).id != first.id
        assert verify_links(northfield.id) == []


def test_the_chain_holds_what_the_row_says(northfield: Farm, anna: User):
    """The entry's hash over its rows follows from the stored row, before its end and after."""
    with acting(anna):
        consent = services.give_consent(farm=northfield, kind="regional", by=anna, now=NOW)
        services.withdraw_consent(consent=consent, by=anna, now=NOW)
        stored = Consent.objects.get(pk=consent.pk)
        given, ended = LedgerEntry.objects.filter(farm=northfield).order_by("-number")[:2][::-1]
        assert bytes(given.rows_hash) == sha256(given_hash(stored)).digest()
        assert bytes(ended.rows_hash) == sha256(withdrawn_hash(stored)).digest()


def test_an_adviser_may_give_a_farm_back(northfield: Farm, dana: User):
    with acting(dana):
        services.withdraw_consent(consent=consents_of(northfield).get(adviser=dana), by=dana, now=NOW)
        assert Farm.objects.count() == 0
    with as_factory():
        assert LedgerEntry.objects.get(kind="consent_withdrawn").actor_kind == "adviser"
        assert verify_links(northfield.id) == []


def test_only_an_adviser_of_the_farms_own_group_is_let_in(northfield: Farm, other_group, anna: User, carla: User):
    stranger = make_group_member("Fay", other_group, "adviser")
    with acting(anna):
        for adviser in (carla, stranger, None):
            with pytest.raises(services.AdviserUnknown):
                services.give_consent(farm=northfield, kind="adviser", adviser=adviser, by=anna, now=NOW)


def test_a_consent_is_for_an_adviser_or_for_the_region(northfield: Farm, anna: User, dana: User):
    with acting(anna):
        with pytest.raises(Invalid, match="adviser or regional"):
            services.give_consent(farm=northfield, kind="everybody", by=anna, now=NOW)
        with pytest.raises(services.AdviserUnknown):
            services.give_consent(farm=northfield, kind="regional", adviser=dana, by=anna, now=NOW)


def test_carla_neither_gives_nor_ends_northfields_consents(northfield: Farm, anna: User, carla: User):
    with acting(anna):
        consent = consents_of(northfield).get()
    with acting(carla):
        assert list(consents_of(northfield)) == []
        with pytest.raises(Missing):
            services.give_consent(farm=northfield, kind="regional", by=carla, now=NOW)
        with pytest.raises(Missing):
            services.withdraw_consent(consent=consent, by=carla, now=NOW)
