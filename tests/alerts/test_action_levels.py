"""Whose action level applies, and that what applied in a week is what applied then."""

from datetime import date, timedelta

import pytest

from alerts import services
from alerts.models import FarmLevel
from alerts.selectors import levels_of
from alerts.services import NewLevel
from farms.errors import Missing
from farms.ledger import verify_links
from farms.models import Facility, Farm, Group, LedgerEntry, User
from tests.cast import NOW, acting, as_factory

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 1)


def new(value: float, method: str = "card", since: date = TODAY, facility: Facility | None = None) -> NewLevel:
    return NewLevel(method, value, "calves sleep badly", since, facility)


def test_without_any_of_its_own_a_farm_has_the_trades_levels(northfield: Farm, anna: User):
    with acting(anna):
        levels = levels_of(northfield, TODAY)
    # Common practice, printed in extension guides (science.md, section 1).
    assert [(levels.of(method).value, levels.of(method).level_of) for method in ("card", "trap", "leg")] == [
        (100, "default"),
        (250, "default"),
        (10, "default"),
    ]


def test_facility_comes_before_farm_before_group(
    northfield: Farm, calf_barn: Facility, dry_lot: Facility, group: Group, anna: User, erik: User
):
    with acting(erik):
        services.set_group_level(group=group, level=new(90), by=erik, now=NOW)
    with acting(anna):
        assert levels_of(northfield, TODAY).of("card").level_of == "group"
        services.set_farm_level(farm=northfield, level=new(80), by=anna, now=NOW)
        services.set_farm_level(farm=northfield, level=new(50, facility=calf_barn), by=anna, now=NOW)
        levels = levels_of(northfield, TODAY)
    assert (levels.of("card", calf_barn.id).value, levels.of("card", calf_barn.id).level_of) == (50, "facility")
    assert (levels.of("card", dry_lot.id).value, levels.of("card", dry_lot.id).level_of) == (80, "farm")
    assert (levels.of("trap", calf_barn.id).value, levels.of("trap").level_of) == (250, "default")


def test_a_level_applies_from_its_day_on_and_not_before(northfield: Farm, anna: User):
    with acting(anna):
        services.set_farm_level(farm=northfield, level=new(80, since=TODAY + timedelta(days=7)), by=anna, now=NOW)
        assert levels_of(northfield, TODAY + timedelta(days=6)).of("card").value == 100
        assert levels_of(northfield, TODAY + timedelta(days=7)).of("card").value == 80


def test_of_two_levels_from_one_day_the_one_set_later_applies(northfield: Farm, anna: User):
    with acting(anna):
        services.set_farm_level(farm=northfield, level=new(80), by=anna, now=NOW)
        services.set_farm_level(farm=northfield, level=new(70), by=anna, now=NOW + timedelta(hours=1))
        assert levels_of(northfield, TODAY).of("card").value == 70


def test_a_farms_level_keeps_who_set_it_why_and_its_unit_and_stands_in_the_chain(northfield: Farm, anna: User):
    with acting(anna):
        level = services.set_farm_level(farm=northfield, level=new(2.5, method="leg"), by=anna, now=NOW)
        assert (level.set_by, level.set_at, level.reason) == (anna, NOW, "calves sleep badly")
        assert level.unit == "flies an animal"
        entry = LedgerEntry.objects.get(farm=northfield, number=level.entry)
        assert (entry.kind, entry.actor_kind) == ("action_level", "farm_staff")
        assert verify_links(northfield.id) == []


@pytest.mark.parametrize(
    ("level", "error"),
    [
        (new(80, method="card "), services.MethodUnknown),
        (new(0), services.LevelNotAboveZero),
        (new(-3), services.LevelNotAboveZero),
        (new(float("nan")), services.LevelNotAboveZero),
        (new(float("inf")), services.LevelNotAboveZero),
        (NewLevel("card", 80, "  ", TODAY), services.LevelWithoutReason),
        (new(80, since=TODAY - timedelta(days=1)), services.LevelFromThePast),
    ],
)
def test_a_level_that_makes_no_sense_is_refused(northfield: Farm, anna: User, level: NewLevel, error: type):
    with acting(anna):
        with pytest.raises(error) as refusal:
            services.set_farm_level(farm=northfield, level=level, by=anna, now=NOW)
        assert refusal.value.errors[0].pointer
        assert not FarmLevel.objects.exists()


def test_today_is_the_farms_own_day(northfield: Farm, anna: User):
    # 03:00 UTC on June 2 is still June 1 in Chicago.
    with acting(anna):
        night = NOW + timedelta(hours=15)
        assert services.set_farm_level(farm=northfield, level=new(80), by=anna, now=night).valid_from == TODAY


def test_carla_can_not_set_a_level_on_annas_farm(northfield: Farm, carla: User):
    with acting(carla), pytest.raises(Missing):
        services.set_farm_level(farm=northfield, level=new(80), by=carla, now=NOW)
    with as_factory():
        assert not FarmLevel.objects.exists()
