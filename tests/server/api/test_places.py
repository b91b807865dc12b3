"""Where a farm's barns stand on the earth: told to its people and its advisers, to no key, and in no other answer."""

import json
from typing import Any

import pytest

from farms.models import Facility, Farm, User
from monitoring.models import Station
from server.exports.tables import TABLES
from tests.cast import as_factory
from tests.server.api.exporting import FORMS, path, taken
from tests.server.api.routes import routes
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

# Whatever state it is in.
SEEN = {"If-Match": "*"}
pytestmark = pytest.mark.django_db
# Invented; digits that are found nowhere else.
LATITUDE, LONGITUDE = 43.918273, -89.465192
SECRET = ("43.918273", "89.465192")


@pytest.fixture
def placed(calf_barn: Facility) -> Facility:
    with as_factory():
        Facility.objects.filter(id=calf_barn.id).update(latitude=LATITUDE, longitude=LONGITUDE)
    return calf_barn


def barn(farm: Farm, facility: Facility) -> str:
    return f"/api/v1/farms/{farm.id}/facilities/{facility.id}"


def test_the_map_has_each_station_at_its_barn_and_those_without_a_place_too(
    anna: User, northfield: Farm, placed: Facility, cards: list[Station]
):
    response = session_of(anna).get(path(northfield, "stations.geojson"))
    assert response.headers["Content-Type"] == "application/geo+json"
    found = response.json()
    # RFC 7946: a FeatureCollection (3.3), positions as longitude and latitude (3.1.1), null where unlocated (3.2).
    assert found["type"] == "FeatureCollection" and len(found["features"]) == 8
    by_id = {each["id"]: each for each in found["features"]}
    assert all(set(each) == {"type", "id", "geometry", "properties"} for each in by_id.values())
    card = by_id[str(cards[0].id)]
    assert (card["type"], card["geometry"]) == ("Feature", {"type": "Point", "coordinates": [LONGITUDE, LATITUDE]})
    assert (card["properties"]["facility"], card["properties"]["number"]) == ("Calf barn", 1)
    assert [each["geometry"] for each in by_id.values()].count(None) == 3


def test_the_farms_people_and_its_adviser_may_see_the_map(
    anna: User, ben: User, dana: User, northfield: Farm, placed: Facility
):
    for user in (anna, ben, dana):
        assert SECRET[0] in taken(session_of(user), northfield, "stations.geojson").decode()


def test_no_key_may(reader: Sender, program: Sender, phone: Sender, northfield: Farm, placed: Facility):
    for sender in (reader, program, phone):
        assert_problem(sender.get(path(northfield, "stations.geojson")), 403, "forbidden")
        assert_problem(sender.get(path(northfield, "darwin-core.zip?located=true")), 403, "forbidden")


def test_a_key_reads_everything_else_and_finds_no_place_in_it(
    reader: Sender, northfield: Farm, placed: Facility, cards: list[Station]
):
    ids = {"farm_id": northfield.id, "facility_id": placed.id, "station_id": cards[0].id}
    asked = [route.address(**ids) for route in routes() if route.method == "get"]
    answers = {address: reader.get(address) for address in asked}
    assert answers[barn(northfield, placed)].json().keys() == {"id", "name", "kind", "position"}
    for address, answer in answers.items():
        body = answer.getvalue().decode(errors="replace") if answer.status_code == 200 else ""
        assert not any(digits in body for digits in SECRET), address


def test_no_table_holds_a_place_whoever_asks(anna: User, northfield: Farm, placed: Facility):
    for name in TABLES:
        for form in set(FORMS) - {"xlsx"}:
            body = taken(session_of(anna), northfield, f"{name}.{form}").decode(errors="replace")
            assert not any(digits in body for digits in SECRET), (name, form)


# --- Facilities ------------------------------------------------------------------------------------------------------


def test_an_owner_says_where_a_barn_stands_and_takes_it_back(anna: User, northfield: Farm, calf_barn: Facility):
    owner, address = session_of(anna), barn(northfield, calf_barn)
    changed = owner.patch(address, {"latitude": LATITUDE, "longitude": LONGITUDE, "name": "Hutches"}, headers=SEEN)
    assert changed.status_code == 200, changed.content
    assert changed.json() == owner.get(address).json() == {
        "id": str(calf_barn.id), "name": "Hutches", "kind": "calf_barn", "position": 1, "latitude": LATITUDE,
        "longitude": LONGITUDE,
    }  # fmt: skip
    assert owner.patch(address, {"latitude": None, "longitude": None}, headers=SEEN).json()["latitude"] is None
    assert owner.patch(address, {}, headers=SEEN).json()["name"] == "Hutches"


def test_a_barn_may_come_with_its_place(dana: User, northfield: Farm):
    body = {"name": "Silo", "kind": "silo", "latitude": -90, "longitude": 180}
    made = session_of(dana).post(f"/api/v1/farms/{northfield.id}/facilities", body)
    assert (made.status_code, made.json()["latitude"], made.json()["longitude"]) == (201, -90, 180)


@pytest.mark.parametrize(
    ("change", "code", "pointer"),
    [
        ({"latitude": 43.1}, "half_a_position", "/longitude"),
        ({"latitude": None, "longitude": 4}, "half_a_position", "/latitude"),
        ({"latitude": 91, "longitude": 4}, "max_value", "/latitude"),
        ({"latitude": 9, "longitude": -181}, "min_value", "/longitude"),
        ({"latitude": "43.1", "longitude": 4}, "invalid", "/latitude"),
        ({"name": " "}, "blank", "/name"),
        ({"name": "Dry lot"}, "facility_name_taken", "/name"),
        ({"kind": "castle"}, "invalid_choice", "/kind"),
        ({"color": "red"}, "unknown", "/color"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_changes(
    anna: User, northfield: Farm, calf_barn: Facility, change: dict[str, Any], code: str, pointer: str
):
    response = session_of(anna).patch(barn(northfield, calf_barn), change, headers=SEEN)
    assert response.status_code in (409, 422), response.content
    error = json.loads(response.content)["errors"][0]
    assert (error["code"], error["pointer"]) == (code, pointer)
    with as_factory():
        kept = Facility.objects.get(id=calf_barn.id)
    assert (kept.name, kept.kind, kept.latitude) == ("Calf barn", "calf_barn", None)


def test_half_of_a_place_is_not_taken_back(anna: User, northfield: Farm, placed: Facility):
    response = session_of(anna).patch(barn(northfield, placed), {"latitude": None}, headers=SEEN)
    assert_problem(response, 422, "half_a_position")
    assert (
        session_of(anna).patch(barn(northfield, placed), {"latitude": 44.5}, headers=SEEN).json()["longitude"]
        == LONGITUDE
    )


def test_a_barn_of_another_farm_is_not_found(anna: User, northfield: Farm, southmead: Farm, carla: User):
    with as_factory():
        hers = Facility.objects.get(farm=southmead)
    for farm in (northfield, southmead):
        address = barn(farm, hers)
        assert_problem(session_of(anna).get(address), 404, "not_found")
        assert_problem(session_of(anna).patch(address, {"name": "Mine"}, headers=SEEN), 404, "not_found")


def test_who_counts_does_not_move_barns(ben: User, program: Sender, northfield: Farm, calf_barn: Facility):
    for sender in (session_of(ben), program):
        assert_problem(sender.patch(barn(northfield, calf_barn), {"name": "Mine"}, headers=SEEN), 403, "forbidden")
