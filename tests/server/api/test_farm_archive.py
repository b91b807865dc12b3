"""A farm's archive as its owner takes it by the API: all of the farm, to the owner alone, and noted."""

import json
import zipfile
from datetime import timedelta
from io import BytesIO
from pathlib import Path

import pytest

from farms.models import Farm, User
from server.farm_archive import archive_of
from server.farm_archive.tables import archived
from tests.cast import NOW, as_factory
from tests.isolation.scene import FarmScene
from tests.server.api.exporting import content, noted, path
from tests.server.api.senders import Sender, session_of
from tests.server.api.test_problems import assert_problem
from tests.server.full_farm import full_farm

pytestmark = pytest.mark.django_db
FILE = "farm-archive.zip"


@pytest.fixture
def quillhaven(db: None) -> FarmScene:
    return full_farm("Quillhaven")


def members(body: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(BytesIO(body)) as file:
        assert file.testzip() is None
        return {name: file.read(name) for name in file.namelist()}


def test_the_owner_takes_every_row_that_there_is(quillhaven: FarmScene, standing_clock: Path):
    """Under row security, as the owner: byte by byte what a role reads that is let through everywhere."""
    later = NOW + timedelta(hours=1)
    standing_clock.write_text(later.isoformat())
    body = content(session_of(quillhaven.owner).get(path(quillhaven.farm, FILE)))
    assert noted(quillhaven.farm)[-1] == FILE
    with as_factory():
        assert body == b"".join(archive_of(quillhaven.farm.id, now=later))
    found = members(body)
    told = json.loads(found.pop("manifest.json"))
    assert (told["farm"], told["format"]) == (str(quillhaven.farm.id), 1)
    assert all(found[table.member] for table in archived())
    assert [each["name"] for each in told["members"]] == list(found)


def test_nobody_but_the_owner_takes_it(
    ben: User, dana: User, carla: User, reader: Sender, program: Sender, northfield: Farm
):
    for sender in (session_of(ben), session_of(dana), reader, program):
        assert_problem(sender.get(path(northfield, FILE)), 403, "forbidden")
    assert_problem(session_of(carla).get(path(northfield, FILE)), 404, "not_found")
    assert noted(northfield) == []


def test_it_is_noted_before_it_leaves_and_isnt_in_itself(quillhaven: FarmScene, standing_clock: Path):
    response = session_of(quillhaven.owner).get(path(quillhaven.farm, FILE))
    assert response.headers["Content-Disposition"] == 'attachment; filename="quillhaven-farm-archive.zip"'
    assert noted(quillhaven.farm)[-1] == FILE
    assert FILE.encode() not in members(content(response))["tables/farms_logevent.ndjson"]
    standing_clock.write_text((NOW + timedelta(hours=1)).isoformat())
    again = session_of(quillhaven.owner).get(path(quillhaven.farm, FILE))
    assert FILE.encode() in members(content(again))["tables/farms_logevent.ndjson"]
    assert_problem(
        session_of(quillhaven.owner).get(path(quillhaven.farm, FILE) + "?since=2026-01-01"), 422, "bad_query"
    )
