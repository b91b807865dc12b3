"""Fly sprays, pour-ons and baits: a full record, mended by a later one, checked by the farm, held in the chain."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.db import ProgrammingError, transaction

from farms.chained_rows import hash_again
from farms.errors import Missing
from farms.selectors import facilities_of
from farms.tenancy.acting import erase_on_farm
from monitoring.errors import (
    ApplicationReplaced,
)
from monitoring.models import Application, ApplicationPeople
from monitoring.selectors import (
    applications_done,
    applications_of,
    kept_out_of,
    last_done,
    people_of,
    replaced_applications,
    standing_applications_of,
    withheld_at,
)
from monitoring.services import (
    MendedApplication,
    WorkDone,
    Writer,
    check_application,
    record_work,
)
from tests.cast import NOW, acting, acting_token, as_factory, as_role, make_farm
from tests.farms.test_keys import make_token
from tests.monitoring.applying import HOUR, MEASURED, PEOPLE, applied, note, refused
from tests.monitoring.sending import STAFF, TODAY, chain_holds

DAY = timedelta(days=1)


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
