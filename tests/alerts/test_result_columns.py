"""What is said of facilities: the farm's own figures, where they are the facility's too."""

import numpy as np
import pytest

from alerts.checks import result_columns
from alerts.checks.figures import figures_of
from alerts.checks.grid import Grid, first_week_of_window
from alerts.checks.result_columns import FacilityRows, facility_rows, said_alike
from alerts.models import FarmLevel
from alerts.selectors.levels import levels_of_farms
from farms.models import Facility, Farm, Group, Region, User
from monitoring.arrays import readings_for_check
from monitoring.models import Station
from tests.alerts.scene import check_time, count_week, monday
from tests.cast import as_factory, as_role, make_facility, make_farm, make_stations

pytestmark = pytest.mark.django_db
WEEK = monday(1)


def rows_of(group: Group, *farms: Farm) -> FacilityRows:
    ids = [farm.id for farm in farms]
    with as_role("worker"):
        grid = Grid(readings_for_check(ids, first_week_of_window(WEEK), WEEK), WEEK)
        levels = levels_of_farms(group.id, ids, WEEK)
        figures = figures_of(grid, grid.farm_owners(), levels)
        return facility_rows(grid, figures, said_alike(grid, figures), levels)


@pytest.fixture
def southfield(region: Region, anna: User) -> Farm:
    """Its one barn has a level of its own."""
    farm = make_farm("Southfield", region, anna)
    barn = make_facility(farm, "Pen", "calf_barn")
    count_week(make_stations(barn, "card", range(1, 6)), WEEK, [15, 90, 12, 14, 11])
    with as_factory():
        FarmLevel.objects.create(
            farm=farm, facility_id=barn.id, method="card", value=20.0, unit="specks", valid_from=monday(0),
            reason="Neighbours", set_by=anna, set_at=check_time(monday(0)), entry=0,
        )  # fmt: skip
    return farm


def test_a_facility_with_all_stations_of_a_method_is_told_as_if_worked_out_alone(
    group: Group, northfield: Farm, southfield: Farm, calf_barn: Facility, cards: list[Station], traps: list[Station],
    leg_station: Station, monkeypatch: pytest.MonkeyPatch,
):  # fmt: skip
    # Northfield's cards hang in two barns, its traps in one.
    more = make_stations(make_facility(northfield, "Heifer barn", "heifer_barn", 4), "card", range(6, 9))
    count_week(cards + more, WEEK, [150, 20, "lost", 3, 90, 10, 9, 8])
    count_week(traps, WEEK, [200, 320])
    count_week([leg_station], WEEK, [[12, 3, 0, 7, 9, 15, 4, 6, 8, 5]])
    found = rows_of(group, northfield, southfield)
    monkeypatch.setattr(result_columns, "_unlike_the_farm", lambda places, *_: np.ones(len(places), np.bool_))
    alone = rows_of(group, northfield, southfield)
    assert len(found.to_judge) == 5
    np.testing.assert_array_equal(found.to_judge, alone.to_judge)
    for name, column in alone.columns.items():
        np.testing.assert_array_equal(found.columns[name], column, err_msg=name)
    own = [found.columns[name][-1] for name in ("level", "level_of", "result")]
    assert own == [20.0, "facility", "over"]


def test_where_no_facility_differs_none_is_worked_out(
    group: Group, northfield: Farm, cards: list[Station], monkeypatch: pytest.MonkeyPatch
):
    count_week(cards, WEEK, [150, 20, 40, 3, 90])
    asked: list[Grid] = []
    monkeypatch.setattr(Grid, "of_stations", lambda grid, which: asked.append(grid))
    assert rows_of(group, northfield).columns["mean"].tolist()[0] == 60.6
    assert asked == []
