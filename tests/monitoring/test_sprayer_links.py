"""A hired sprayer's one-time link: who opens it, what is recorded by it, and whose word makes it stand."""

import pytest
from django.utils import timezone

from farms.credentials import key_hash
from farms.models import Consent, LogEvent
from farms.tenancy.acting import act_for_nobody
from monitoring.errors import (
    AlreadyChecked,
    ApplicationRefused,
    NothingToCheck,
    SprayerLinkSpent,
    TooManySprayerLinks,
)
from monitoring.models import Application, SprayerLink
from monitoring.selectors import (
    applications_of,
    kept_out_of,
    sprayer_link_by_key,
    standing_applications_of,
    waiting_applications_of,
)
from monitoring.services import (
    Writer,
    check_application,
    make_sprayer_link,
    record_by_link,
    withdraw_sprayer_link,
)
from monitoring.services.sprayer_link import LIVES, MOST_WAITING
from tests.cast import NOW, acting, as_factory, as_role
from tests.monitoring.applying import applied, note
from tests.monitoring.sending import STAFF, chain_holds

# Keys live by the real clock.
REAL = timezone.now()


@pytest.mark.django_db
class TestSprayersLink:
    def made(self, farm, anna):
        return make_sprayer_link(farm=farm, by=anna, actor=STAFF, now=REAL)

    def test_it_opens_once_and_its_record_waits_for_the_farm(self, northfield, anna):
        with acting(anna):
            link, key = self.made(northfield, anna)
        # Nobody is signed in: the link is found by its key alone.
        with as_role("app"):
            act_for_nobody()
            opened = sprayer_link_by_key(key, REAL)
            assert opened is not None and opened.id == link.id
            row = record_by_link(link=opened, applied=applied(), now=NOW, real=REAL)
            with pytest.raises(SprayerLinkSpent):
                record_by_link(link=opened, applied=applied(), now=NOW, real=REAL)
            assert sprayer_link_by_key(key, REAL) is None
            assert not Application.objects.exists()
        with acting(anna):
            assert [each.id for each in waiting_applications_of(northfield)] == [row.id]
            # Keeping people out waits for nobody.
            assert len(kept_out_of(northfield, NOW)) == 1
            check_application(application=row, confirmed=True, reason="", actor=STAFF, now=NOW)
            assert not waiting_applications_of(northfield).exists()
            [stands] = standing_applications_of(northfield)
            assert (stands.confirmed, stands.through_link) == (True, True)
            with pytest.raises(AlreadyChecked):
                check_application(application=row, confirmed=False, reason="no", actor=STAFF, now=NOW)
            assert chain_holds(northfield)
            kinds = LogEvent.objects.filter(farm_id=northfield.id).values_list("kind", flat=True)
            assert "sprayer_link_made" in kinds

    def test_what_is_refused_leaves_the_link_good(self, northfield, anna):
        with acting(anna):
            link, key = self.made(northfield, anna)
        with as_role("app"):
            act_for_nobody()
            opened = sprayer_link_by_key(key, REAL)
            with pytest.raises(ApplicationRefused):
                record_by_link(link=opened, applied=applied(target="x"), now=NOW, real=REAL)
            assert sprayer_link_by_key(key, REAL).id == link.id

    def test_not_so_takes_a_reason_and_the_record_counts_nowhere(self, northfield, anna):
        with acting(anna):
            row = note(northfield, by=Writer(STAFF, through_link=True))
            with pytest.raises(ApplicationRefused):
                check_application(application=row, confirmed=False, reason=" ", actor=STAFF, now=NOW)
            check_application(application=row, confirmed=False, reason="another farm", actor=STAFF, now=NOW)
            assert not standing_applications_of(northfield).exists()
            assert applications_of(northfield).get().confirmed is False

    def test_what_the_farm_wrote_itself_isnt_confirmed(self, northfield, anna):
        with acting(anna):
            row = note(northfield)
            with pytest.raises(NothingToCheck):
                check_application(application=row, confirmed=True, reason="", actor=STAFF, now=NOW)

    def test_taken_back_ended_or_made_by_one_who_left_it_opens_nothing(self, northfield, anna, dana):
        with acting(anna):
            link, key = self.made(northfield, anna)
            assert sprayer_link_by_key(key, REAL + LIVES) is None
            withdraw_sprayer_link(link=link, actor=STAFF, now=REAL)
            assert sprayer_link_by_key(key, REAL) is None
        with acting(dana):
            _link, other = self.made(northfield, dana)
        with as_factory():
            Consent.objects.filter(farm_id=northfield.id, adviser_id=dana.id).update(withdrawn_at=NOW)
        assert sprayer_link_by_key(other, REAL) is None

    def test_no_more_than_ten_wait(self, northfield, anna):
        with acting(anna):
            for _each in range(MOST_WAITING):
                self.made(northfield, anna)
            with pytest.raises(TooManySprayerLinks):
                self.made(northfield, anna)

    def test_only_the_keys_hash_is_kept(self, northfield, anna):
        with acting(anna):
            link, key = self.made(northfield, anna)
            assert bytes(SprayerLink.objects.get(farm_id=northfield.id, id=link.id).key_hash) == key_hash(key)
