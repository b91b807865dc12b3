"""Organic farms: what waits for the certifier, and which answer held on which day."""

from datetime import date, timedelta

import pytest

from farms.errors import Invalid
from monitoring.errors import (
    OrganicRefused,
)
from monitoring.selectors import (
    is_organic,
)
from monitoring.services import (
    CertifierTyped,
    MendedApplication,
    mark_organic,
    note_cards_kept,
    note_certifier_answer,
)
from tests.cast import NOW, acting
from tests.monitoring.applying import applied, note, refused
from tests.monitoring.sending import STAFF, chain_holds

DAY = timedelta(days=1)


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
