"""Barns and lots, and the seasons in which a farm counts."""

from datetime import date

import pytest
from django.db import ProgrammingError

from farms import services
from farms.errors import Invalid, Missing
from farms.models import Farm, User
from farms.selectors import facilities_of, season_on
from tests.cast import SEASON_OPENS, acting

pytestmark = pytest.mark.django_db


def test_facilities_stand_in_walking_order(northfield: Farm, anna: User):
    with acting(anna):
        added = services.add_facility(farm=northfield, name=" Hutches ", kind="calf_hutches", position=0)
        assert [each.name for each in facilities_of(northfield)] == [
            "Hutches", "Calf barn", "Free-stall barn", "Dry lot",
        ]  # fmt: skip
        assert added.kind == "calf_hutches"


@pytest.mark.parametrize(("name", "kind", "error"), [
    ("Calf barn", "calf_barn", services.FacilityNameTaken),
    (" ", "calf_barn", Invalid),
    ("Hangar", "hangar", Invalid),
])  # fmt: skip
def test_a_facility_has_a_name_of_its_own_and_a_known_kind(northfield: Farm, anna: User, name, kind, error):
    with acting(anna), pytest.raises(error) as refused:
        services.add_facility(farm=northfield, name=name, kind=kind)
    assert refused.value.errors[0].pointer in ("/name", "/kind")


def test_carla_adds_no_facility_even_past_the_door(northfield: Farm, carla: User):
    with acting(carla):
        assert list(facilities_of(northfield)) == []
        with pytest.raises(ProgrammingError, match="row-level security"):
            services.add_facility(farm=northfield, name="Hers", kind="other")


def test_a_season_holds_its_first_and_its_last_day(northfield: Farm, anna: User):
    with acting(anna):
        season = season_on(northfield, SEASON_OPENS)
        services.close_season(season=season, closes_on=date(2026, 10, 31))
        assert season_on(northfield, date(2026, 10, 31)) == season
        assert season_on(northfield, date(2026, 11, 1)) is None
        assert season_on(northfield, date(2026, 4, 5)) is None


def test_a_season_closes_on_its_first_day_at_the_earliest(northfield: Farm, anna: User):
    with acting(anna):
        season = season_on(northfield, SEASON_OPENS)
        with pytest.raises(services.SeasonClosesTooEarly, match="2026-04-06"):
            services.close_season(season=season, closes_on=date(2026, 4, 5))
        assert services.close_season(season=season, closes_on=SEASON_OPENS).holds(SEASON_OPENS)


def test_the_next_season_opens_after_the_last_has_closed(northfield: Farm, anna: User):
    with acting(anna):
        with pytest.raises(services.SeasonsOverlap):
            services.open_season(farm=northfield, opens_on=date(2027, 4, 5))
        services.close_season(season=season_on(northfield, SEASON_OPENS), closes_on=date(2026, 10, 31))
        later = services.open_season(farm=northfield, opens_on=date(2027, 4, 5))
        assert season_on(northfield, date(2027, 6, 1)) == later


def test_a_season_moved_into_the_next_one_is_refused(northfield: Farm, anna: User):
    with acting(anna):
        first = services.close_season(season=season_on(northfield, SEASON_OPENS), closes_on=date(2026, 10, 31))
        services.open_season(farm=northfield, opens_on=date(2027, 4, 5))
        with pytest.raises(services.SeasonsOverlap):
            services.close_season(season=first, closes_on=date(2027, 4, 5))
        assert services.close_season(season=first, closes_on=date(2027, 4, 4)).closes_on == date(2027, 4, 4)


def test_carla_opens_and_closes_no_season(northfield: Farm, anna: User, carla: User):
    with acting(anna):
        season = season_on(northfield, SEASON_OPENS)
    with acting(carla):
        with pytest.raises(Missing):
            services.open_season(farm=northfield, opens_on=date(2027, 4, 5))
        with pytest.raises(Missing):
            services.close_season(season=season, closes_on=date(2026, 10, 31))
