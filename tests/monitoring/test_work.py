"""Work with its own facts, noted once more by one tap, and taken back where it was noted by mistake."""

from datetime import timedelta

import pytest

from farms.clock import local_date
from farms.errors import Missing
from farms.ledger import row_values
from monitoring.errors import AlreadyNoted, AlreadyTakenBack, WorkRefused
from monitoring.models import Work, WorkTakenBack, WorkWords
from monitoring.selectors import last_done, usual_works, works_of, works_on_record
from monitoring.selectors.work_effects import effects_of_works
from monitoring.services import WorkDone, record_again, record_work, take_back_work
from tests.cast import NOW, acting, as_role
from tests.monitoring.sending import STAFF, TODAY, chain_holds

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


def note(farm, kind="clean_out", done_on=TODAY, **more):
    return record_work(farm=farm, work=WorkDone(kind, done_on, **more), actor=STAFF, now=NOW)


def take_back(work, why="tapped the wrong one"):
    return take_back_work(work=work, why=why, actor=STAFF, now=NOW)


def test_a_clean_out_says_what_could_not_be_reached_and_wasps_what_they_are(northfield, anna):
    with acting(anna):
        cleaned = note(northfield, thorough=False, not_reached=" under the feed bunk ")
        released = note(northfield, "wasps", species="Spalangia cameroni", number=20_000, batch="B-117")
        note(northfield, "traps")
    assert (cleaned.thorough, cleaned.not_reached, cleaned.species) == (False, "under the feed bunk", None)
    assert (released.species, released.number, released.batch) == ("Spalangia cameroni", 20_000, "B-117")
    assert chain_holds(northfield)


def test_what_says_nothing_stands_in_the_chain_as_before(northfield, anna):
    """Work of earlier years has the hash that it had: a new column enters only where it holds something."""
    with acting(anna):
        values = row_values(note(northfield))
    assert set(values) == {
        "farm_id", "id", "facility_id", "kind", "done_on", "thorough", "actor_kind", "recorded_at",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({"kind": "fans", "not_reached": "corner"}, "only_of_a_clean_out"),
        ({"species": "Spalangia"}, "only_of_wasps"),
        ({"number": 5}, "only_of_wasps"),
        ({"kind": "traps", "batch": "B-1"}, "only_of_wasps"),
        ({"not_reached": "x" * 201}, "text_too_long"),
        ({"not_reached": "a\nb"}, "not_text"),
        ({"kind": "wasps", "species": "x" * 101}, "text_too_long"),
        ({"kind": "wasps", "batch": "x" * 61}, "text_too_long"),
        ({"kind": "wasps", "number": 0}, "number_out_of_range"),
        ({"kind": "wasps", "number": 100_000_001}, "number_out_of_range"),
    ],
)
def test_each_belongs_to_its_kind_and_is_refused_elsewhere_with_a_sentence(northfield, anna, values, code):
    with acting(anna):
        with pytest.raises(WorkRefused) as refused:
            note(northfield, **({"kind": "clean_out"} | values))
        assert not Work.objects.exists()
    (fault,) = refused.value.errors
    assert fault.code == code and fault.detail.endswith(".")


class TestAgain:
    def test_a_second_tap_on_the_same_day_adds_nothing_and_says_so(self, northfield, anna, calf_barn):
        with acting(anna):
            first = record_again(farm=northfield, work=WorkDone("fans", TODAY), actor=STAFF, now=NOW)
            with pytest.raises(AlreadyNoted, match="already noted today, by somebody of the farm") as told:
                record_again(farm=northfield, work=WorkDone("fans", TODAY), actor=STAFF, now=NOW)
            assert told.value.details["work"] == first.id
            record_again(farm=northfield, work=WorkDone("fans", TODAY, calf_barn), actor=STAFF, now=NOW)
            take_back(first)
            record_again(farm=northfield, work=WorkDone("fans", TODAY), actor=STAFF, now=NOW)
            assert works_of(northfield).count() == 2

    def test_the_most_usual_works_are_those_noted_twice_or_more(self, northfield, anna, calf_barn):
        with acting(anna):
            for kind, facility, times in (
                ("bedding", calf_barn, 3), ("fans", None, 2), ("screens", None, 1), ("other", None, 5),
            ):  # fmt: skip
                for back in range(times):
                    note(northfield, kind, TODAY - back * DAY, facility=facility)
            usual = usual_works(works_of(northfield), 3)
        assert [(work.kind, work.facility_id) for work in usual] == [("bedding", calf_barn.id), ("fans", None)]


class TestTakenBack:
    def test_it_stays_on_record_and_counts_nowhere(self, northfield, anna, calf_barn):
        with acting(anna):
            earlier = note(northfield, "fans", TODAY - 3 * DAY, facility=calf_barn)
            wrong = note(northfield, facility=calf_barn, done_on=TODAY - DAY)
            before = effects_of_works([earlier], [northfield], local_date(NOW, northfield.time_zone))
            row = take_back(wrong)
            assert list(works_of(northfield)) == [earlier]
            assert last_done([northfield.id], TODAY)[northfield.id].id == earlier.id
            after = effects_of_works([earlier], [northfield], local_date(NOW, northfield.time_zone))
            marked = {work.id: work.taken_back for work in works_on_record(northfield)}
            assert WorkWords.objects.get(about_id=row.id).text == "tapped the wrong one"
        assert marked == {earlier.id: False, wrong.id: True}
        # It ended what was looked at after the earlier one, and does so no more.
        assert before[earlier.id] != after[earlier.id]
        assert chain_holds(northfield)

    def test_it_needs_a_reason_and_is_taken_back_once(self, northfield, anna):
        with acting(anna):
            work = note(northfield)
            with pytest.raises(WorkRefused) as refused:
                take_back(work, "  ")
            assert refused.value.errors[0].code == "why_missing"
            take_back(work)
            with pytest.raises(AlreadyTakenBack):
                take_back(work)
            assert WorkTakenBack.objects.count() == 1

    def test_row_security_shows_it_to_the_farms_own(self, northfield, anna, carla, southmead, erik):
        with acting(anna):
            work = note(northfield)
            take_back(work)
        for who in (carla, erik):
            with acting(who):
                assert not WorkTakenBack.objects.exists() and not WorkWords.objects.exists()
        with acting(carla), pytest.raises(Missing):
            take_back(work)
        with as_role("worker"):
            assert WorkTakenBack.objects.count() == 1
