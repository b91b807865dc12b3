"""Northfield and Southmead with real records, three days signed over them, their heads filed outside."""

from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from farms.models import Farm
from monitoring.models import Station
from tests.alerts.scene import monday
from tests.cast import as_factory
from tests.server.evidence import scene


@dataclass(frozen=True)
class Signed:
    """The farms, and where the outside heads and the public key lie."""

    farm: Farm
    neighbour: Farm
    folder: Path
    key: str

    @property
    def heads(self) -> Path:
        return self.folder / "heads"


@pytest.fixture
def records(group, northfield, southmead, anna, carla, dana, cards, calf_barn) -> tuple[Farm, Farm]:
    with as_factory():
        others = list(Station.objects.filter(farm=southmead, method="card").order_by("number"))
    scene.weeks_of(northfield, anna, cards)
    scene.weeks_of(southmead, carla, others, begins=1)
    scene.what_came_of_it(group, northfield, anna, dana)
    scene.records_of_people(northfield, anna, cards, calf_barn)
    scene.applied_there(northfield, anna, calf_barn)
    scene.planned_there(northfield, anna, calf_barn)
    scene.walked_there(northfield, anna, calf_barn)
    scene.imported(northfield, anna)
    scene.correct_first(northfield, anna)
    return northfield, southmead


@pytest.fixture
def signed(records, settings: Any, tmp_path: Path) -> Signed:
    key = scene.with_key(settings, tmp_path)
    scene.signed(scene.noon(scene.LAST - timedelta(days=2)))
    scene.signed(scene.noon(scene.LAST))
    assert monday(0) < scene.LAST
    return Signed(*records, tmp_path, key)
