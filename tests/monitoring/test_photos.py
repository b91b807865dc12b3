"""Photos of a round: stored once, chained by a salted hash, read by the farm's own people, erased by who may."""

from datetime import timedelta

import pytest
from django.db import ProgrammingError, connection, transaction
from django.utils import timezone

from farms.errors import Forbidden, Missing
from farms.ids import uuid7
from farms.ledger import salted
from farms.models import LogEvent
from farms.services import make_token
from farms.tenancy.acting import act_for_nobody
from monitoring.errors import PhotoRefused
from monitoring.models import Photo, PhotoPicture
from monitoring.rules.photo import PhotoKindUnknown
from monitoring.selectors import hatching_places, photos_of, photos_of_round, picture_of, stations_of
from monitoring.services import PhotoSent, add_photo, erase_photo
from monitoring.services.photo import MOST_OF_A_ROUND, PhotoDiffers, TooManyPhotos
from tests.cast import NOW, acting, acting_token, as_factory, as_role
from tests.monitoring.pictures import jpeg, png
from tests.monitoring.sending import STAFF, chain_holds, hang

pytestmark = pytest.mark.django_db


@pytest.fixture
def walked(northfield, cards, anna):
    with acting(anna):
        return hang(northfield, cards)


def photo(**more):
    return PhotoSent(**{"id": uuid7(), "kind": "card", "taken_at": NOW, "content": jpeg(), **more})


def add(walked, sent, **more):
    return add_photo(walked=walked, sent=sent, actor=STAFF, now=more.get("now", NOW))


def stored():
    with as_factory():
        return Photo.objects.count(), PhotoPicture.objects.count()


def test_a_photo_is_stored_once_and_its_chain_holds(walked, cards, anna):
    sent = photo(station=cards[0])
    with acting(anna):
        first, again = add(walked, sent), add(walked, sent, now=NOW + timedelta(days=1))
        assert (first.is_new, again.is_new, again.received_at) == (True, False, NOW)
        (listed,) = photos_of_round(walked.farm, walked.id)
        assert (listed.station, listed.width, listed.height, listed.erased) == (cards[0], 64, 48, False)
        assert picture_of(listed).startswith(b"\xff\xd8\xff") and picture_of(listed, small=True)
    assert stored() == (1, 1) and chain_holds(walked.farm)
    with as_factory():
        kept = PhotoPicture.objects.get()
        # What the chain holds is the picture's, and tells nothing without the salt.
        assert first.picture_hash == salted(bytes(kept.picture), bytes(kept.salt))


def test_another_picture_or_place_under_the_same_id_changes_nothing(walked, cards, anna):
    sent = photo()
    with acting(anna):
        add(walked, sent)
        for other in (photo(id=sent.id, content=png()), photo(id=sent.id, kind="hatching"),
                      photo(id=sent.id, station=cards[1])):  # fmt: skip
            with pytest.raises(PhotoDiffers):
                add(walked, other)
    assert stored() == (1, 1)


def test_what_cant_be_right_is_named_and_nothing_is_stored(walked, anna, southmead, carla):
    with acting(carla):
        foreign = stations_of(southmead)[0]
    wrong = photo(kind="cow", taken_at=NOW + timedelta(days=2), station=foreign, x=0.5)
    with acting(anna):
        with pytest.raises(PhotoRefused) as refused:
            add(walked, wrong)
        assert [each.pointer for each in refused.value.errors] == ["/kind", "/taken_at", "/station_id", "/x"]
        for off in ({"x": 0.5, "y": 1.2}, {"x": float("nan"), "y": 0.5}, {"taken_at": NOW.replace(year=1970)}):
            with pytest.raises(PhotoRefused):
                add(walked, photo(**off))
        with pytest.raises(PhotoKindUnknown):
            add(walked, photo(content=b"PK\x03\x04"))
    assert stored() == (0, 0) and chain_holds(walked.farm)


def test_a_round_takes_forty_photos(walked, anna, monkeypatch):
    monkeypatch.setattr("monitoring.services.photo.MOST_OF_A_ROUND", 2)
    assert MOST_OF_A_ROUND == 40
    with acting(anna):
        first = photo()
        for sent in (first, photo()):
            add(walked, sent)
        with pytest.raises(TooManyPhotos, match="2 photos already"):
            add(walked, photo())
        assert not add(walked, first).is_new


def test_an_erased_picture_is_gone_the_chain_holds_and_it_doesnt_come_back(walked, anna, dana):
    sent = photo()
    with acting(anna):
        made = add(walked, sent)
        erase_photo(photo=made, by=anna, now=NOW)
        erase_photo(photo=made, by=anna, now=NOW)
        # A phone that never heard our answer sends it again.
        assert not add(walked, sent).is_new
        assert photos_of_round(walked.farm, walked.id) == [] and picture_of(made) is None
        assert photos_of(walked.farm).get().erased
    assert stored() == (1, 0) and chain_holds(walked.farm)
    with as_factory():
        assert LogEvent.objects.filter(kind="photo_erased", actor_id=anna.id, about=str(made.id)).count() == 1
    with acting(dana):
        second = add(walked, photo())
        erase_photo(photo=second, by=dana, now=NOW)
    assert stored() == (2, 0)


def test_who_only_counts_erases_nothing_by_either_wall(walked, anna, ben, carla):
    with acting(anna):
        made = add(walked, photo())
        # A key lives by the real clock.
        now = timezone.now()
        ends = now + timedelta(days=9)
        token, _key = make_token(farm=walked.farm, name="loader", scope="write", by=anna, expires_at=ends, now=now)
    with acting(ben):
        with pytest.raises(Forbidden):
            erase_photo(photo=made, by=ben, now=NOW)
        assert PhotoPicture.objects.all().delete()[0] == 0
    with acting_token(token):
        assert PhotoPicture.objects.count() == 1
        assert PhotoPicture.objects.all().delete()[0] == 0
    with acting(carla), pytest.raises(Forbidden):
        erase_photo(photo=made, by=carla, now=NOW)
    assert stored() == (1, 1)


def test_row_security_shows_photos_to_the_farms_own_only(walked, anna, ben, carla, southmead, erik):
    with acting(anna):
        add(walked, photo())
    for who, seen in ((anna, 1), (ben, 1), (carla, 0), (erik, 0)):
        with acting(who):
            assert (Photo.objects.count(), PhotoPicture.objects.count()) == (seen, seen)
    with transaction.atomic():
        act_for_nobody()
        assert (Photo.objects.count(), PhotoPicture.objects.count()) == (0, 0)
    # In her own name Carla adds nothing to a farm that isn't hers, even past the door.
    with acting(carla), pytest.raises(Missing):
        add(walked, photo())


@pytest.mark.parametrize("role", ["worker", "cohort", "region"])
@pytest.mark.parametrize("table", ["monitoring_photo", "monitoring_photopicture"])
def test_no_other_role_reads_photos(northfield, role, table):
    with as_role(role), pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
        connection.cursor().execute(f"SELECT 1 FROM {table}")


def test_the_eraser_deletes_for_the_farm_that_is_named_only(walked, anna, southmead):
    with acting(anna):
        add(walked, photo())
    for farm, left in ((southmead, 1), (walked.farm, 0)):
        with as_role("eraser"), connection.cursor() as cursor:
            cursor.execute("SELECT set_config('app.farm_id', %s, true)", [str(farm.id)])
            cursor.execute("DELETE FROM monitoring_photopicture")
            cursor.execute("DELETE FROM monitoring_photo")
        assert stored() == (left, left)


def test_the_plan_shows_where_flies_hatch(walked, anna, calf_barn):
    with acting(anna):
        shown = add(walked, photo(kind="hatching", x=0.25, y=1.0, facility=calf_barn))
        somewhere = add(walked, photo(kind="hatching"))
        add(walked, photo(kind="card", x=0.5, y=0.5))
        gone = add(walked, photo(kind="hatching", x=0.1, y=0.1))
        erase_photo(photo=gone, by=anna, now=NOW)
        found = {place.photo_id: place for place in hatching_places(walked.farm, NOW.date())}
        assert found.keys() == {shown.id, somewhere.id}
        assert (found[shown.id].facility, found[shown.id].spot) == (calf_barn, (0.25, 1.0))
        assert (found[somewhere.id].station, found[somewhere.id].spot) == (None, None)
        assert hatching_places(walked.farm, NOW.date() + timedelta(days=1)) == []


def test_lists_never_read_the_bytes(walked, anna, django_assert_num_queries):
    with acting(anna):
        for _each in range(3):
            add(walked, photo())
        with django_assert_num_queries(1) as asked:
            assert len(photos_of_round(walked.farm, walked.id)) == 3
    assert '"small"' not in asked[0]["sql"] and '."picture"' not in asked[0]["sql"]
