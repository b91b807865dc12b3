"""A farm with at least one row in every table that holds a farm's data."""

from tests.cast import make_farm, make_user
from tests.isolation.farm_tables import fill_empty_tables
from tests.isolation.later_records import agreement_with, applied_on, webhook_of
from tests.isolation.scene import FarmScene, adviser_of, make_group, records_of_a_season, region_of


def full_farm(name: str) -> FarmScene:
    """Of a group of its own, with an owner, an adviser, a chain, a photo's bytes, a scan and a plan's picture."""
    owner = make_user(f"Owner{name}")
    scene = FarmScene(name, make_farm(name, region_of(make_group(f"{name} Advisers")), owner), owner, name, 61370)
    adviser_of(scene.farm.group, scene, f"Adviser{name}")
    records_of_a_season(scene)
    webhook_of(scene)
    agreement_with(scene)
    applied_on(scene)
    fill_empty_tables(scene.farm, owner, name, 61370)
    return scene
