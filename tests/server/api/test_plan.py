"""The plan by the API: its outlines and places for keys too, its picture for people only."""

from typing import Any

import pytest

from farms.models import Facility, Farm, User
from monitoring.models import Station
from monitoring.rules.pictures import picture_from
from monitoring.services import Drawn, draw_plan, lay_picture
from tests.cast import NOW, acting
from tests.monitoring.pictures import sketch, with_everything
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
SQUARE = [[0.1, 0.1], [0.4, 0.1], [0.4, 0.5], [0.1, 0.5]]


def path(farm: Farm, more: str = "") -> str:
    return f"/api/v1/farms/{farm.id}/plan{more}"


@pytest.fixture
def drawn(northfield: Farm, anna: User, calf_barn: Facility, cards: list[Station]) -> Farm:
    with acting(anna):
        outlines = [{"facility_id": str(calf_barn.id), "points": SQUARE}]
        draw_plan(farm=northfield, drawn=Drawn(outlines, {cards[0].id: (0.2, 0.3)}), by=anna, now=NOW)
        lay_picture(farm=northfield, picture=picture_from(with_everything(sketch())), by=anna, now=NOW)
    return northfield


def test_a_key_reads_outlines_and_places(reader: Sender, drawn: Farm, calf_barn: Facility, cards: list[Station]):
    told: dict[str, Any] = reader.get(path(drawn)).json()
    assert told["outlines"] == [{"name": "", "facility_id": str(calf_barn.id), "points": SQUARE}]
    assert told["stations"] == [{"station_id": str(cards[0].id), "x": 0.2, "y": 0.3}]
    assert (told["width"], told["height"], told["has_picture"], told["since"]) == (300, 200, True, "2026-06-01")


def test_its_picture_is_for_people_since_a_photo_tells_where_the_farm_is(reader: Sender, ben: User, drawn: Farm):
    assert_problem(reader.get(path(drawn, "/picture")), 403, "forbidden")
    picture = session_of(ben).get(path(drawn, "/picture"))
    assert picture.status_code == 200 and picture.headers["Content-Type"] == "image/jpeg"
    assert picture.content.startswith(b"\xff\xd8\xff")


def test_a_farm_without_a_plan_says_so(anna: User, northfield: Farm):
    told = session_of(anna).get(path(northfield)).json()
    assert told["id"] is None and told["outlines"] == [] and told["stations"] == []
    assert_problem(session_of(anna).get(path(northfield, "/picture")), 404, "not_found")


def test_carla_finds_nothing_of_northfield(carla: User, phone: Sender, drawn: Farm, southmead: Farm):
    for more in ("", "/picture"):
        assert_problem(session_of(carla).get(path(drawn, more)), 404, "not_found")
        assert_problem(phone.get(path(drawn, more)), 403, "forbidden")
