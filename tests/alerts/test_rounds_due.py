"""When the next rounds of many farms are due: as `next_round_due` says for each of them alone."""

from datetime import UTC, date, datetime, timedelta

import pytest

from alerts.selectors import rounds_due
from farms.clock import local_date
from farms.models import Season
from monitoring.models import Round, Skip
from monitoring.selectors import next_round_due
from tests.cast import NOW, SEASON_OPENS, acting, as_factory, make_farm

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
ZONES = ("America/Chicago", "Pacific/Honolulu", "Pacific/Auckland")


def walk(farm, *days, received=NOW):
    Round.objects.bulk_create(
        Round(farm=farm, walked_on=day, source="form", actor_kind="farm_staff", received_at=received, entry=0)
        for day in days
    )


def skip(farm, day, to):
    Skip.objects.create(farm=farm, skipped_on=day, next_round_on=to, made_at=NOW + DAY, actor_kind="farm_staff")


@pytest.fixture
def farms(region, anna):
    """Farms on three days at once, and every way in which a next round is due."""
    made = [make_farm(f"{zone} {number}", region, anna, time_zone=zone) for zone in ZONES for number in range(6)]
    today = NOW.date()
    with as_factory():
        for zone in range(len(ZONES)):
            walked, twice, skipped, after_skip, never, late = made[6 * zone : 6 * zone + 6]
            walk(walked, today - 3 * DAY)
            walk(twice, today - 10 * DAY, today)
            walk(skipped, today - 6 * DAY)
            skip(skipped, today - DAY, today + 9 * DAY)
            skip(after_skip, today - 9 * DAY, today + 5 * DAY)
            walk(after_skip, today - 2 * DAY)
            Season.objects.filter(farm=never).update(opens_on=today)
            walk(late, SEASON_OPENS - 30 * DAY)
    return made


@pytest.mark.parametrize("hour", [5, 15])
def test_they_are_due_as_each_farm_alone_says(anna, farms, hour):
    now = datetime(2026, 6, 1, hour, tzinfo=UTC)
    with acting(anna):
        alone = {farm.id: next_round_due(farm, local_date(now, farm.time_zone)) for farm in farms}
        together = {due.farm.id: due.day for due in rounds_due(farms, now)}
    # Its season opens on June 1: in Honolulu that day hasn't begun everywhere at five in the morning UTC.
    assert together == {farm_id: day for farm_id, day in alone.items() if day is not None}
    assert len(set(together.values())) > 4


def test_out_of_season_and_past_its_last_day_nothing_is_due(anna, northfield):
    today = NOW.date()
    with as_factory():
        walk(northfield, today)
    for closes_on, due in ((today - DAY, []), (today + 6 * DAY, []), (today + 7 * DAY, [today + 7 * DAY])):
        with as_factory():
            Season.objects.filter(farm=northfield).update(closes_on=closes_on)
        with acting(anna):
            assert [each.day for each in rounds_due([northfield], NOW)] == due


def test_noted_is_when_something_last_moved_it(anna, northfield):
    def noted():
        with acting(anna):
            return rounds_due([northfield], NOW)[0].noted_at

    assert noted() == datetime(2026, 4, 6, 5, tzinfo=UTC)  # midnight in Chicago, as the season opened
    with as_factory():
        walk(northfield, date(2026, 5, 20), received=NOW - DAY)
    assert noted() == NOW - DAY
    with as_factory():
        skip(northfield, NOW.date(), NOW.date() + 9 * DAY)
    assert noted() == NOW + DAY
    with as_factory():
        walk(northfield, date(2026, 5, 13), received=NOW)  # typed later, of an earlier day
    assert noted() == NOW + DAY


def test_of_no_farms_nothing_is_asked(anna, django_assert_num_queries):
    with acting(anna), django_assert_num_queries(0):
        assert rounds_due([], NOW) == []
