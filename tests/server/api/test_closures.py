"""Closed to visits, by the API: a farm by its people, a region by its coordinator, and never to a key."""

import pytest

from farms.models import Farm, FarmClosure, Region, User
from tests.cast import as_factory
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem

pytestmark = pytest.mark.django_db
FROM_JUNE_8 = {"closed": True, "from_on": "2026-06-08"}


def path(farm: Farm) -> str:
    return f"/api/v1/farms/{farm.id}/closures"


def test_a_farm_is_closed_and_opened_again(anna: User, dana: User, ben: User, northfield: Farm):
    owner, adviser = session_of(anna), session_of(dana)
    made = owner.post(path(northfield), FROM_JUNE_8)
    assert made.status_code == 201, made.content
    assert {key: made.json()[key] for key in ("closed", "from_on", "set_by_id")} == {
        "closed": True, "from_on": "2026-06-08", "set_by_id": str(anna.id)
    }  # fmt: skip
    assert adviser.post(path(northfield), {"closed": False, "from_on": "2026-06-20"}).status_code == 201
    assert [row["closed"] for row in session_of(ben).get(path(northfield)).json()["results"]] == [True, False]
    assert owner.get(f"{path(northfield)}/applied").json() == {
        "farm_id": str(northfield.id), "closed": False, "from_on": None, "open_from": None, "whole_region": False
    }  # fmt: skip
    assert owner.get(f"{path(northfield)}/applied?on=2026-06-10").json() == {
        "farm_id": str(northfield.id), "closed": True, "from_on": "2026-06-08", "open_from": "2026-06-20",
        "whole_region": False,
    }  # fmt: skip


def test_no_reason_is_taken(anna: User, northfield: Farm):
    assert_problem(session_of(anna).post(path(northfield), FROM_JUNE_8 | {"reason": "?"}), 422, "invalid")
    with as_factory():
        assert not FarmClosure.objects.exists()


def test_refusals_name_the_day(anna: User, northfield: Farm):
    owner = session_of(anna)
    assert_problem(owner.post(path(northfield), FROM_JUNE_8 | {"closed": False}), 409, "not_closed")
    early = assert_problem(
        owner.post(path(northfield), FROM_JUNE_8 | {"from_on": "2026-05-31"}), 422, "closure_day_wrong"
    )
    assert early["errors"][0]["pointer"] == "/from_on"
    owner.post(path(northfield), FROM_JUNE_8)
    assert_problem(owner.post(path(northfield), FROM_JUNE_8), 409, "closed_already")


def test_no_key_is_told_and_who_only_counts_closes_nothing(
    ben: User, reader: Sender, program: Sender, phone: Sender, northfield: Farm
):
    for key in (reader, program, phone):
        for answer in (key.get(path(northfield)), key.post(path(northfield), FROM_JUNE_8)):
            assert_problem(answer, 403, "forbidden")
    assert_problem(session_of(ben).post(path(northfield), FROM_JUNE_8), 403, "forbidden")


def test_carla_and_the_coordinator_find_nothing(carla: User, erik: User, northfield: Farm):
    for user in (carla, erik):
        assert_problem(session_of(user).get(path(northfield)), 404, "not_found")
        assert_problem(session_of(user).post(path(northfield), FROM_JUNE_8), 404, "not_found")


class TestARegion:
    def test_is_closed_by_a_coordinator_and_seen_by_the_group(
        self, anna: User, dana: User, erik: User, reader: Sender, northfield: Farm, region: Region
    ):
        region_path = f"/api/v1/regions/{region.id}/closures"
        assert session_of(erik).post(region_path, FROM_JUNE_8).status_code == 201
        for user in (anna, dana, erik):
            assert [row["from_on"] for row in session_of(user).get(region_path).json()["results"]] == ["2026-06-08"]
        told = session_of(anna).get(f"{path(northfield)}/applied?on=2026-06-08").json()
        assert (told["closed"], told["whole_region"]) == (True, True)
        assert_problem(reader.get(region_path), 404, "not_found")

    def test_by_nobody_else(self, anna: User, dana: User, carla: User, northfield: Farm, region: Region):
        region_path = f"/api/v1/regions/{region.id}/closures"
        for user in (anna, dana):
            assert_problem(session_of(user).post(region_path, FROM_JUNE_8), 403, "forbidden")
        assert_problem(session_of(carla).post(region_path, FROM_JUNE_8), 404, "not_found")
