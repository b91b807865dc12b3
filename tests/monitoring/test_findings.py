"""What becomes of a finding: its steps, its due days, its photos; and steps that were noted wrongly."""

import io
import zipfile
from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction

from farms.errors import Forbidden
from farms.ids import uuid7
from farms.ledger import salted
from farms.models import LogEvent
from monitoring.errors import AlreadyMended, FindingRefused, NothingToDo
from monitoring.models import FindingPhoto, FindingPicture, FindingStep, FindingStepWords
from monitoring.rules.photo import PhotoKindUnknown, PhotoTooManyPixels
from monitoring.selectors import (
    due_findings,
    finding_photos_of,
    finding_picture_of,
    hatching_findings,
    open_findings,
    steps_of,
    words_of_steps,
)
from monitoring.services import (
    FindingMended,
    FindingPhotoSent,
    StepMended,
    add_finding_photo,
    correct_finding,
    erase_finding_photo,
)
from monitoring.services.finding_photo import TooManyFindingPhotos
from monitoring.services.photo import PhotoDiffers
from tests.cast import NOW, acting, as_factory
from tests.monitoring.pictures import claiming, jpeg
from tests.monitoring.sending import STAFF, TODAY, chain_holds, words_hold
from tests.monitoring.walking import found, only_finding, step, walk

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


def stands(farm):
    finding = only_finding(farm)
    return finding.state, finding.due


class TestSteps:
    def test_it_is_followed_until_it_is_gone_and_opens_again(self, northfield, anna):
        with acting(anna):
            walk(northfield, found(due_on=TODAY - 8 * DAY, larvae="many"), on=TODAY - 9 * DAY)
            assert stands(northfield) == ("to_do", TODAY - 8 * DAY)
            step(northfield, "done", TODAY - 8 * DAY, note="scraped")
            # To be looked at again seven days after the work: common practice, no source.
            assert stands(northfield) == ("to_check", TODAY - DAY)
            step(northfield, "still_there", TODAY - DAY, TODAY + 2 * DAY)
            assert stands(northfield) == ("to_do", TODAY + 2 * DAY)
            step(northfield, "done", TODAY, TODAY + 4 * DAY)
            assert stands(northfield) == ("to_check", TODAY + 4 * DAY)
            step(northfield, "gone", TODAY)
            assert stands(northfield) == ("gone", None)
            assert not open_findings(northfield).exists()
            with pytest.raises(NothingToDo):
                step(northfield, "done")
            step(northfield, "still_there")
            assert stands(northfield) == ("to_do", None)
            kinds = [each.kind for each in steps_of(only_finding(northfield))]
            assert kinds == ["done", "still_there", "done", "gone", "still_there"]
        assert chain_holds(northfield) and words_hold(northfield)

    def test_where_nothing_was_found_nothing_is_to_be_done(self, northfield, anna):
        with acting(anna):
            walk(northfield, found(nothing=True))
            for kind in ("done", "gone", "still_there"):
                with pytest.raises(NothingToDo):
                    step(northfield, kind)
            assert not open_findings(northfield).exists()

    @pytest.mark.parametrize(
        ("kind", "on", "due_on", "note", "pointer"),
        [
            ("cleaned", TODAY, None, "", "/kind"),
            ("withdrawn", TODAY, None, "", "/kind"),
            ("done", TODAY + DAY, None, "", "/on"),
            ("done", TODAY - 2 * DAY, None, "", "/on"),
            ("done", date(26, 6, 1), None, "", "/on"),
            ("done", TODAY, TODAY - DAY, "", "/due_on"),
            ("done", TODAY, TODAY + 400 * DAY, "", "/due_on"),
            ("done", TODAY, None, "x" * 1001, "/note"),
            ("done", TODAY, None, "\x00", "/note"),
        ],
    )
    def test_what_cant_be_right_is_refused(self, northfield, anna, kind, on, due_on, note, pointer):
        with acting(anna):
            walk(northfield, found(), on=TODAY - DAY)
            with pytest.raises(FindingRefused) as refused:
                step(northfield, kind, on, due_on, note=note)
            assert [each.pointer for each in refused.value.errors] == [pointer]
            assert steps_of(only_finding(northfield)) == []

    def test_a_step_is_mended_in_its_place_and_both_stay(self, northfield, anna):
        with acting(anna):
            walk(northfield, found(), on=TODAY - 3 * DAY)
            done = step(northfield, "done", TODAY - 2 * DAY)
            gone = step(northfield, "gone", TODAY - DAY)
            with pytest.raises(FindingRefused) as refused:
                step(northfield, "done", TODAY, mending=StepMended(done, " "))
            assert {each.pointer for each in refused.value.errors} == {"/on", "/reason"}
            again = step(northfield, "done", TODAY - DAY, mending=StepMended(done, "a day later"))
            # It was mended after it was gone, and still comes before that.
            assert stands(northfield) == ("gone", None) and again.number == done.number
            with pytest.raises(AlreadyMended):
                step(northfield, "done", TODAY - DAY, mending=StepMended(done, "again"))
            step(northfield, "withdrawn", TODAY - DAY, mending=StepMended(gone, "the wrong place"))
            assert stands(northfield) == ("to_check", TODAY + 6 * DAY)
            told = [(each.number, each.kind, each.replaced) for each in steps_of(only_finding(northfield))]
            assert told == [(1, "done", True), (1, "done", False), (2, "gone", True), (2, "withdrawn", False)]
            assert words_of_steps(northfield, [again.id]) == {again.id: {"reason": "a day later"}}
            step(northfield, "gone")
            assert stands(northfield) == ("gone", None)
        assert chain_holds(northfield) and words_hold(northfield)

    def test_steps_stay_with_a_finding_that_is_mended(self, northfield, anna):
        with acting(anna):
            walk(northfield, found())
            step(northfield, "done")
            mended = FindingMended(only_finding(northfield), "a gutter", found("gutters"))
            correct_finding(farm=northfield, mended=mended, actor=STAFF, now=NOW)
            assert stands(northfield) == ("to_check", TODAY + 7 * DAY)
            step(northfield, "gone")
            assert stands(northfield) == ("gone", None)

    def test_a_step_of_an_older_version_is_refused_by_the_database_too(self, northfield, anna):
        with acting(anna):
            walk(northfield, found())
            made = step(northfield, "done")
            with pytest.raises(IntegrityError, match="finding_step_number_once"), transaction.atomic():
                FindingStep.objects.create(
                    farm=northfield, finding_id=made.finding_id, number=1, kind="gone", on=TODAY, recorded_at=NOW,
                    actor_kind="farm_staff", entry=1,
                )  # fmt: skip

    def test_what_has_a_day_is_listed_across_farms_by_day(self, northfield, anna, django_assert_num_queries):
        with acting(anna):
            walk(northfield, found(due_on=TODAY + 3 * DAY), found("gutters", due_on=TODAY), found("bedding"))
            with django_assert_num_queries(1):
                due = [(each.place, each.due, each.farm.name) for each in due_findings([northfield.id])]
            assert due == [("gutters", TODAY, "Northfield"), ("waterers", TODAY + 3 * DAY, "Northfield")]
            assert [each.place for each in open_findings(northfield)] == ["gutters", "waterers", "bedding"]

    def test_where_maggots_were_seen_flies_hatch_until_it_is_gone(self, northfield, anna):
        with acting(anna):
            walk(northfield, found(larvae="none", pupae="some"), found("gutters", larvae=""))
            assert [each.place for each in hatching_findings(northfield, TODAY)] == ["waterers"]
            assert not hatching_findings(northfield, TODAY + DAY)


class TestPhotos:
    @pytest.fixture
    def finding(self, northfield, anna):
        with acting(anna):
            walk(northfield, found())
            return only_finding(northfield)

    def stored(self):
        with as_factory():
            return FindingPhoto.objects.count(), FindingPicture.objects.count()

    def test_a_photo_is_made_anew_stored_once_and_chained(self, northfield, finding, anna):
        sent = FindingPhotoSent(uuid7(), jpeg())
        with acting(anna):
            first, again = (add_finding_photo(finding=finding, sent=sent, actor=STAFF, now=NOW) for _time in "ab")
            assert (first.is_new, again.is_new) == (True, False)
            (listed,) = finding_photos_of(northfield)
            assert (listed.width, listed.height, listed.erased) == (64, 48, False)
            assert finding_picture_of(listed, small=True).startswith(b"\xff\xd8\xff")
            other = FindingPhotoSent(sent.id, jpeg(32, 32))
            with pytest.raises(PhotoDiffers):
                add_finding_photo(finding=finding, sent=other, actor=STAFF, now=NOW)
        with as_factory():
            kept = FindingPicture.objects.get()
            assert first.picture_hash == salted(bytes(kept.picture), bytes(kept.salt))
        assert self.stored() == (1, 1) and chain_holds(northfield)

    def test_what_is_no_photo_is_refused_and_nothing_is_stored(self, northfield, finding, anna):
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w") as archive:
            archive.writestr("barn.jpg", "no picture")
        # 30 megapixels; and a ZIP that calls itself JPEG.
        for content, refusal in ((claiming(6000, 5000), PhotoTooManyPixels), (packed.getvalue(), PhotoKindUnknown)):
            sent = FindingPhotoSent(uuid7(), content)
            with acting(anna), pytest.raises(refusal):
                add_finding_photo(finding=finding, sent=sent, actor=STAFF, now=NOW)
        assert self.stored() == (0, 0) and chain_holds(northfield)

    def test_a_place_takes_twelve_photos(self, finding, anna, monkeypatch):
        monkeypatch.setattr("monitoring.services.finding_photo.MOST_OF_A_FINDING", 1)
        with acting(anna):
            add_finding_photo(finding=finding, sent=FindingPhotoSent(uuid7(), jpeg()), actor=STAFF, now=NOW)
            with pytest.raises(TooManyFindingPhotos, match="1 photos already"):
                add_finding_photo(finding=finding, sent=FindingPhotoSent(uuid7(), jpeg()), actor=STAFF, now=NOW)

    def test_owners_and_advisers_erase_a_picture_and_nobody_else(self, northfield, finding, anna, ben, dana, carla):
        sent = FindingPhotoSent(uuid7(), jpeg())
        with acting(anna):
            made = add_finding_photo(finding=finding, sent=sent, actor=STAFF, now=NOW)
        for who in (ben, carla):
            with acting(who):
                with pytest.raises(Forbidden):
                    erase_finding_photo(farm=northfield, photo=made, by=who, now=NOW)
                assert FindingPicture.objects.all().delete()[0] == 0
        with acting(dana):
            for _time in range(2):
                erase_finding_photo(farm=northfield, photo=made, by=dana, now=NOW)
            assert not add_finding_photo(finding=finding, sent=sent, actor=STAFF, now=NOW).is_new
            assert finding_picture_of(made) is None and finding_photos_of(northfield).get().erased
        assert self.stored() == (1, 0) and chain_holds(northfield)
        with as_factory():
            assert LogEvent.objects.filter(kind="photo_erased", about=str(made.id)).count() == 1


def test_row_security_shows_steps_to_the_farms_own_only(northfield, southmead, anna, ben, carla, erik):
    with acting(ben):
        walk(northfield, found())
        step(northfield, "done", note="scraped by Luis")
    for who, seen in ((anna, 1), (ben, 1), (carla, 0), (erik, 0)):
        with acting(who):
            assert (FindingStep.objects.count(), FindingStepWords.objects.count()) == (seen, seen)
