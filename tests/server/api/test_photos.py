"""Photos for programs: the list without pictures, each picture by itself, and nothing for strangers."""

import pytest

from farms.ids import uuid7
from farms.models import Farm, User
from monitoring.models import Station
from monitoring.services import PhotoSent, add_photo, erase_photo
from tests.cast import NOW, acting
from tests.monitoring.pictures import jpeg
from tests.monitoring.sending import STAFF, hang
from tests.server.api.senders import Sender, session_of, token_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db


def test_programs_read_the_list_and_the_picture(
    reader: Sender, northfield: Farm, anna: User, carla: User, southmead: Farm, cards: list[Station]
):
    with acting(anna):
        walked = hang(northfield, cards)
        sent = [PhotoSent(uuid7(), kind, NOW, jpeg(), cards[0], x=0.5, y=0.25) for kind in ("card", "hatching")]
        photos = [add_photo(walked=walked, sent=each, actor=STAFF, now=NOW) for each in sent]
    path = f"/api/v1/farms/{northfield.id}/photos"
    (row,) = reader.get(f"{path}?kind=hatching&round_id={walked.id}&since=2026-05-25").json()["results"]
    assert row == {
        "id": str(photos[1].id), "round_id": str(walked.id), "station_id": str(cards[0].id), "facility_id": None,
        "kind": "hatching", "taken_at": "2026-06-01T12:00:00Z", "x": 0.5, "y": 0.25, "width": 64, "height": 48,
        "erased": False, "actor_kind": "farm_staff", "received_at": "2026-06-01T12:00:00Z", "entry": photos[1].entry,
    }  # fmt: skip
    assert reader.get(f"{path}?until=2026-05-24").json()["results"] == []
    picture = f"{path}/{photos[0].id}/picture"
    answer = reader.get(picture)
    assert answer.content.startswith(b"\xff\xd8\xff") and answer.headers["Content-Type"] == "image/jpeg"
    assert (answer.headers["Cache-Control"], answer.headers["X-Content-Type-Options"]) == ("no-store", "nosniff")
    for stranger in (session_of(carla), token_of(southmead, carla, "write")):
        assert_problem(stranger.get(picture), 404, "not_found")
        assert_problem(stranger.get(path), 404, "not_found")
        assert_problem(stranger.get(picture.replace(str(northfield.id), str(southmead.id))), 404, "not_found")
    with acting(anna):
        erase_photo(photo=photos[0], by=anna, now=NOW)
    assert_problem(reader.get(picture), 404, "photo_erased")
    assert [row["erased"] for row in reader.get(path).json()["results"]] == [False, True]
