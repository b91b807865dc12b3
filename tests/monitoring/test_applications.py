"""Fly sprays, pour-ons and baits: a full record, mended by a later one, checked by the farm, held in the chain."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.db import ProgrammingError, transaction
from django.utils import timezone

from farms.chained_rows import hash_again
from farms.credentials import key_hash
from farms.errors import Invalid, Missing
from farms.models import Consent, LogEvent
from farms.selectors import facilities_of
from farms.tenancy.acting import act_for_nobody, erase_on_farm
from monitoring.errors import (
    AlreadyChecked,
    ApplicationRefused,
    ApplicationReplaced,
    NothingToCheck,
    OrganicRefused,
    SprayerLinkSpent,
    TooManySprayerLinks,
)
from monitoring.models import Application, ApplicationPeople, SprayerLink
from monitoring.selectors import (
    applications_done,
    applications_of,
    is_organic,
    kept_out_of,
    last_done,
    people_of,
    replaced_applications,
    sprayer_link_by_key,
    standing_applications_of,
    waiting_applications_of,
    withheld_at,
)
from monitoring.services import (
    CertifierTyped,
    MendedApplication,
    WorkDone,
    Writer,
    check_application,
    make_sprayer_link,
    mark_organic,
    note_cards_kept,
    note_certifier_answer,
    record_by_link,
    record_work,
    withdraw_sprayer_link,
)
from monitoring.services.sprayer_link import LIVES, MOST_WAITING
from tests.cast import NOW, acting, acting_token, as_factory, as_role, make_farm
from tests.farms.test_keys import make_token
from tests.monitoring.applying import HOUR, MEASURED, PEOPLE, applied, note
from tests.monitoring.sending import STAFF, TODAY, chain_holds

DAY = timedelta(days=1)
# Keys live by the real clock.
REAL = timezone.now()


def refused(farm, what, **more):
    with pytest.raises(ApplicationRefused) as caught:
        note(farm, what, **more)
    return {each.pointer: each.detail for each in caught.value.errors}


@pytest.mark.django_db
class TestNoting:
    def test_the_whole_record_is_kept_and_stands_in_the_chain(self, northfield, calf_barn, ben):
        with acting(ben):
            row = note(northfield, applied(facility=calf_barn, place="north wall"))
            [found] = applications_of(northfield)
            people = people_of([found])[row.id]
        assert (found.name, found.registration_number, found.irac_groups) == ("Invented Wall Spray", "00000-1", ["3A"])
        assert (found.amount, found.amount_unit, found.area, found.area_unit) == (Decimal("2.5"), "gal", 450, "m2")
        assert (people.applicator, people.certificate, people.done_for) == ("Pat Invented", "C-123", "Northfield")
        assert chain_holds(northfield)

    def test_people_are_kept_out_for_the_labels_hours_after_its_end(self, northfield, calf_barn, anna):
        with acting(anna):
            row = note(northfield, applied(facility=calf_barn))
            [kept] = kept_out_of(northfield, NOW)
        assert (kept.id, kept.facility_id, kept.until) == (row.reentry_id, calf_barn.id, NOW + 10 * HOUR)
        assert kept.label_says == "until sprays have dried"

    def test_milk_and_meat_are_withheld_as_the_label_says(self, northfield, anna):
        with acting(anna):
            row = note(northfield)
            ends = row.ends_at
            assert (row.milk_until, row.meat_until) == (ends + DAY, ends + 3 * DAY)
            assert [each.id for each in withheld_at(northfield, NOW)] == [row.id]
            assert withheld_at(northfield, ends + 3 * DAY) == []
            assert [each.id for each in withheld_at(northfield, ends + 3 * DAY, DAY)] == [row.id]
            # It withheld nothing before it was applied.
            assert withheld_at(northfield, row.begins_at - HOUR) == []

    def test_a_record_typed_later_keeps_nobody_out_any_more(self, northfield, anna):
        long_ago = NOW - 400 * DAY
        with acting(anna):
            row = note(northfield, applied(begins_at=long_ago, ends_at=long_ago, from_paper=True))
            assert row.reentry_id is None
            assert kept_out_of(northfield, NOW) == []

    @pytest.mark.parametrize(
        ("wrong", "pointer", "says"),
        [
            ({"begins_at": NOW + HOUR, "ends_at": NOW + 2 * HOUR}, "/begins_at", "still to come"),
            ({"ends_at": NOW + HOUR}, "/ends_at", "still to come"),
            ({"ends_at": NOW - 4 * HOUR}, "/ends_at", "before it began"),
            ({"begins_at": NOW - 9 * DAY}, "/ends_at", "more than seven days"),
            ({"begins_at": NOW - 6000 * DAY, "ends_at": NOW - 6000 * DAY}, "/begins_at", "fifteen years"),
            ({"target": "mosquitoes"}, "/target", "house_flies"),
            ({"place": "x" * 201}, "/place", "200"),
            ({"measured": replace(MEASURED, amount_unit="bucket")}, "/amount_unit", "ml, l"),
            ({"measured": replace(MEASURED, amount=Decimal(0))}, "/amount", "above 0"),
            ({"measured": replace(MEASURED, amount=Decimal("NaN"))}, "/amount", "above 0"),
            ({"measured": replace(MEASURED, amount=Decimal("0.00001"))}, "/amount", "four decimals"),
            ({"measured": replace(MEASURED, area_unit="")}, "/area_unit", "in which unit"),
            ({"measured": replace(MEASURED, area=None, area_unit="")}, "/area", "number of animals"),
            ({"measured": replace(MEASURED, animals=0)}, "/animals", "whole number"),
            ({"people": replace(PEOPLE, applicator=" ")}, "/applicator", "whoever applied"),
            ({"people": replace(PEOPLE, certificate="a\nb")}, "/certificate", "no text"),
            ({"label": {"irac_groups": ()}}, "/irac_groups", "IRAC group"),
            ({"label": {"irac_groups": ("3A", "none")}}, "/irac_groups", "not both"),
            ({"label": {"irac_groups": ("A3",)}}, "/irac_groups", "“A3”"),
            ({"label": {"kind": "magic"}}, "/kind", "residual"),
            ({"label": {"name": ""}}, "/name", "product's name"),
            ({"label": {"reentry_hours": 0}}, "/reentry_hours", "whole hours"),
            ({"label": {"reentry_hours": 53 * 24 + 1}}, "/reentry_hours", "1272"),
            ({"label": {"meat_days": 366}}, "/meat_days", "365"),
        ],
    )  # fmt: skip
    def test_what_cant_be_right_is_refused_and_nothing_is_stored(self, northfield, anna, wrong, pointer, says):
        with acting(anna):
            faults = refused(northfield, applied(**wrong))
            assert list(faults) == [pointer]
            assert says in faults[pointer]
            assert not applications_of(northfield).exists()
            assert kept_out_of(northfield, NOW) == []

    def test_the_longest_times_that_a_label_may_name_are_taken(self, northfield, anna):
        with acting(anna):
            note(northfield, applied({"reentry_hours": 53 * 24}, begins_at=NOW - 7 * DAY, ends_at=NOW))
            assert len(kept_out_of(northfield, NOW)) == 1

    def test_another_farms_barn_is_refused(self, northfield, anna, southmead, carla):
        with acting(carla):
            barn = facilities_of(southmead)[0]
        with acting(anna):
            assert list(refused(northfield, applied(facility=barn))) == ["/facility_id"]

    def test_a_stranger_notes_nothing_and_reads_nothing(self, northfield, anna, carla):
        with acting(anna):
            note(northfield)
        with acting(carla):
            assert not applications_of(northfield).exists()
            assert people_of(applications_of(northfield)) == {}
            with pytest.raises(Missing):
                note(northfield)

    def test_a_key_writes_names_down_and_never_reads_them(self, northfield, anna):
        token, _key = make_token(northfield, anna)
        with acting_token(token):
            row = note(northfield)
            assert people_of(applications_of(northfield)) == {}
        with acting(anna):
            assert people_of(applications_of(northfield))[row.id].applicator == "Pat Invented"
            assert chain_holds(northfield)

    def test_nobody_changes_or_deletes_a_record(self, northfield, anna):
        with acting(anna):
            note(northfield)
            for table in (Application, ApplicationPeople):
                for change in (lambda rows: rows.update(farm_id=northfield.id), lambda rows: rows.delete()):
                    with pytest.raises(ProgrammingError), transaction.atomic():
                        change(table.objects.filter(farm_id=northfield.id))


@pytest.mark.django_db
class TestMending:
    def test_a_later_record_replaces_it_and_both_stay(self, northfield, calf_barn, anna):
        with acting(anna):
            first = note(northfield, applied(facility=calf_barn))
            assert list(refused(northfield, applied(), mending=MendedApplication(first, " "))) == ["/reason"]
            second = note(
                northfield,
                applied({"reentry_hours": 24}, facility=calf_barn),
                mending=MendedApplication(first, "hours"),
            )
            assert [each.id for each in standing_applications_of(northfield)] == [second.id]
            assert {each.id: each.replaced for each in applications_of(northfield)} == {
                first.id: True,
                second.id: False,
            }
            assert [each.id for each in replaced_applications(second)] == [first.id]
            [kept] = kept_out_of(northfield, NOW)
            assert (kept.until, kept.reason) == (NOW + 22 * HOUR, "hours")
            with pytest.raises(ApplicationReplaced):
                note(northfield, mending=MendedApplication(first, "again"))
            assert chain_holds(northfield)

    def test_a_mended_record_without_hours_leaves_people_kept_out_as_told(self, northfield, anna):
        with acting(anna):
            first = note(northfield)
            second = note(northfield, applied({"reentry_hours": None}), mending=MendedApplication(first, "none there"))
            assert second.reentry_id == first.reentry_id
            assert len(kept_out_of(northfield, NOW)) == 1


@pytest.mark.django_db
class TestErasing:
    def test_names_are_erased_with_their_salt_and_the_chain_holds_by_their_hash(self, northfield, anna):
        with acting(anna):
            row = note(northfield)
        with as_factory():
            [people] = ApplicationPeople.objects.filter(application_id=row.id)
            hashed = hash_again(people)
            altered = ApplicationPeople(**{f.attname: getattr(people, f.attname) for f in people._meta.concrete_fields})
            altered.applicator = "Somebody Else"
            assert hash_again(altered) != hashed

    def test_the_eraser_takes_the_names_of_one_farm_alone(self, northfield, anna, southmead, carla):
        for farm, owner in ((northfield, anna), (southmead, carla)):
            with acting(owner):
                note(farm)
        with as_role("eraser"):
            erase_on_farm(northfield.id, using="default")
            assert ApplicationPeople.objects.all().delete()[0] == 1
        with as_factory():
            assert [each.farm_id for each in ApplicationPeople.objects.all()] == [southmead.id]


@pytest.mark.django_db
class TestOrganic:
    def asked(self, **more):
        product = {"product_name": "Invented Wall Spray", "registration_number": " 00000-1"}
        answer = {"answered_on": date(2026, 5, 9), "said": "on_conditions", "words": "calf barn only"}
        return CertifierTyped(**{**product, "asked_on": date(2026, 5, 1), **answer, **more})

    def test_an_insecticide_stays_off_until_the_certifier_was_asked(self, northfield, anna):
        with acting(anna):
            mark_organic(farm=northfield, is_organic=True, from_on=date(2026, 1, 1), actor=STAFF, now=NOW)
            faults = refused(northfield, applied())
            assert "Ask the certifier first" in faults["/registration_number"]
            answer = note_certifier_answer(farm=northfield, typed=self.asked(), actor=STAFF, now=NOW)
            assert note(northfield).certifier_answer_id == answer.id
            assert "/registration_number" in refused(northfield, applied({"registration_number": "00000-2"}))
            assert chain_holds(northfield)

    def test_what_was_applied_before_the_farm_was_organic_needs_no_answer(self, northfield, anna):
        with acting(anna):
            mark_organic(farm=northfield, is_organic=True, from_on=date(2026, 6, 1), actor=STAFF, now=NOW)
            before = NOW - 3 * DAY
            assert note(northfield, applied(begins_at=before, ends_at=before)).certifier_answer_id is None

    def test_the_answer_that_held_on_the_day_is_the_one_it_is_held_to(self, northfield, anna):
        """Changing a record long after must not hold it to what the certifier said since."""
        with acting(anna):
            mark_organic(farm=northfield, is_organic=True, from_on=date(2026, 1, 1), actor=STAFF, now=NOW)
            first = note_certifier_answer(farm=northfield, typed=self.asked(), actor=STAFF, now=NOW)
            row = note(northfield)
            later = NOW + 9 * DAY
            since = self.asked(asked_on=date(2026, 6, 5), answered_on=date(2026, 6, 6), said="not_allowed")
            second = note_certifier_answer(farm=northfield, typed=since, actor=STAFF, now=later)
            mended = note(northfield, mending=MendedApplication(row, "wrong amount"), now=later)
            assert (row.certifier_answer_id, mended.certifier_answer_id) == (first.id, first.id)
            today = applied(begins_at=later, ends_at=later)
            assert note(northfield, today, now=later).certifier_answer_id == second.id

    def test_an_answer_that_only_came_later_is_still_told_of(self, northfield, anna):
        with acting(anna):
            mark_organic(farm=northfield, is_organic=True, from_on=date(2026, 1, 1), actor=STAFF, now=NOW)
            answer = note_certifier_answer(farm=northfield, typed=self.asked(), actor=STAFF, now=NOW)
            before = NOW - 40 * DAY
            assert note(northfield, applied(begins_at=before, ends_at=before)).certifier_answer_id == answer.id

    @pytest.mark.parametrize("day", [date(26, 6, 1), date(1899, 12, 31)])
    def test_a_year_that_was_cut_is_refused(self, northfield, anna, day):
        with acting(anna):
            for act in (
                lambda: mark_organic(farm=northfield, is_organic=True, from_on=day, actor=STAFF, now=NOW),
                lambda: note_certifier_answer(farm=northfield, typed=self.asked(asked_on=day), actor=STAFF, now=NOW),
                lambda: note_cards_kept(farm=northfield, words="a dry box", from_on=day, actor=STAFF, now=NOW),
            ):
                with pytest.raises(Invalid) as caught:
                    act()
                assert [each.code for each in caught.value.errors] == ["not_a_day"]

    def test_the_newest_mark_of_the_latest_day_holds(self, northfield, anna):
        with acting(anna):
            for is_on, day in ((True, date(2026, 1, 1)), (False, date(2026, 3, 1)), (True, date(2026, 3, 1))):
                mark_organic(farm=northfield, is_organic=is_on, from_on=day, actor=STAFF, now=NOW)
            assert [is_organic(northfield, date(2026, m, 1)) for m in (1, 2, 3)] == [True, True, True]
            assert not is_organic(northfield, date(2025, 12, 31))
            with pytest.raises(OrganicRefused):
                mark_organic(farm=northfield, is_organic=True, from_on=date(2027, 9, 1), actor=STAFF, now=NOW)

    @pytest.mark.parametrize(
        ("wrong", "pointer"),
        [
            ({"asked_on": date(2026, 6, 2), "answered_on": date(2026, 6, 2)}, "/asked_on"),
            ({"answered_on": date(2026, 4, 30)}, "/answered_on"),
            ({"said": "maybe"}, "/said"),
            ({"product_name": ""}, "/product_name"),
            ({"words": "x" * 301}, "/words"),
        ],
    )
    def test_an_answer_that_cant_be_right_is_refused(self, northfield, anna, wrong, pointer):
        with acting(anna):
            with pytest.raises(OrganicRefused) as caught:
                note_certifier_answer(farm=northfield, typed=self.asked(**wrong), actor=STAFF, now=NOW)
            assert caught.value.errors[0].pointer == pointer


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


@pytest.mark.django_db
class TestLastDone:
    def test_an_application_is_the_last_thing_done_where_it_came_last(self, northfield, calf_barn, anna):
        with acting(anna):
            record_work(farm=northfield, work=WorkDone("fans", date(2026, 5, 29)), actor=STAFF, now=NOW)
            assert last_done([northfield.id], TODAY)[northfield.id].label == "fans"
            row = note(northfield, applied(facility=calf_barn))
            found = last_done([northfield.id], TODAY)[northfield.id]
            assert (found.id, found.done_on, found.facility.name) == (row.id, TODAY, "Calf barn")
            assert last_done([northfield.id], date(2026, 5, 30))[northfield.id].label == "fans"
            assert last_done([northfield.id], date(2026, 5, 1)) == {}
            # What the farm says is not so was not done.
            hired = note(northfield, by=Writer(STAFF, through_link=True))
            check_application(application=hired, confirmed=False, reason="elsewhere", actor=STAFF, now=NOW)
            assert last_done([northfield.id], TODAY)[northfield.id].id == row.id

    @pytest.mark.parametrize(("zone", "hour"), [("Pacific/Auckland", 7), ("America/Chicago", 20)])
    def test_its_day_is_the_farms_own(self, region, anna, zone, hour):
        """In Auckland it is still yesterday in UTC in the morning, in Chicago already tomorrow in the evening."""
        farm, day = make_farm("Farfield", region, anna, time_zone=zone), date(2026, 6, 1)
        at = datetime(2026, 6, 1, hour, tzinfo=ZoneInfo(zone))
        with acting(anna):
            row = note(farm, applied(begins_at=at, ends_at=at), now=at)
            for asked in (day, day + DAY):
                assert (last_done([farm.id], asked)[farm.id].id, last_done([farm.id], asked)[farm.id].done_on) == (
                    row.id,
                    day,
                )
            assert last_done([farm.id], day - DAY) == {}
            assert [each.id for each in applications_done([farm.id], day, day)] == [row.id]
            assert applications_done([farm.id], day - DAY, day - DAY) == []
            assert applications_done([farm.id], day + DAY, day + DAY) == []
