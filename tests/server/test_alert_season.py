"""The season of alerts in the calibration: that what is counted is what it says, and that the check is the real one."""

import numpy as np
import pytest

from alerts.models import Alert
from alerts.rules import USUAL
from farms.models import Farm, Group, Region, Season
from server.calibrate.alert_season import after_each_of, exceedances, lead, within
from server.calibrate.checked_season import FIRST, RULES, check_season
from server.calibrate.group_seasons import KINDS, GroupSeason, simulate_group
from tests.alerts.large_group import count_weeks, make_group_of, make_places
from tests.alerts.scene import check, monday
from tests.cast import as_factory

WEEKS = 12


class TestWhatIsCounted:
    """By hand, on rows of nine weeks."""

    TRUE = np.array([[90, 120, 90, 90, 110, 120, 90, 110, 90], [90, 90, 100, 101, 101, 90, 90, 90, 90]], float)

    def test_an_exceedance_begins_after_two_weeks_that_are_not_over(self):
        begins = exceedances(self.TRUE, 100.0)
        assert np.argwhere(begins).tolist() == [[0, 4], [1, 3]]

    def test_what_comes_within_two_weeks(self):
        assert np.flatnonzero(within(self.TRUE > 100, 2)[1]).tolist() == [1, 2, 3]

    def test_what_lasts_is_over_in_each_of_the_weeks_after_it(self):
        assert np.flatnonzero(after_each_of(self.TRUE > 100, 2)[1]).tolist() == [2]

    def test_the_lead_is_that_of_the_earliest_alert_in_four_weeks(self):
        opened = np.zeros((1, 9), bool)
        opened[0, [1, 3]] = True
        assert lead(opened)[0].tolist() == [0, 0, 1, 2, 3, 4, 3, 4, 0]


@pytest.mark.parametrize("kind", KINDS)
def test_a_group_has_farms_under_and_over_its_level(kind: str):
    season = simulate_group(np.random.default_rng(3), kind, 60)
    assert season.counts.shape[0] == 60 and season.true.shape == (60, season.weeks)
    assert 0.01 < np.mean(season.true > season.level) < 0.25


@pytest.mark.django_db
def test_the_check_without_a_database_says_what_the_check_with_one_says(group: Group, region: Region):
    """The same counts by both ways: every alert opens in the same week, by the same rule, on the same farm."""
    season = simulate_group(np.random.default_rng(11), "outbreaks", 12)
    rise = np.exp(np.where(np.arange(12) < 4, 0.35, 0.0)[:, None] * np.maximum(np.arange(WEEKS) - 6, 0))
    counts = np.round(season.counts[:, :, :WEEKS] * rise[:, None, :])
    told = check_season(GroupSeason(counts, season.days[:, :, :WEEKS], season.true[:, :WEEKS]), USUAL)
    farms = make_group_of(region, 12)
    with as_factory():
        Season.objects.filter(farm__group=group).update(opens_on=FIRST)
    count_weeks(make_places(farms, "card", 9), [monday(number) for number in range(WEEKS)], counts)
    for number in range(WEEKS):
        check(group, monday(number))
    places = {farm.id: place for place, farm in enumerate(farms)}
    with as_factory():
        rows = Alert.objects.filter(farm_id__in=list(places), rule__in=RULES)
        real = sorted((places[each.farm_id], (each.opened_week - FIRST).days // 7, each.rule) for each in rows)
        still = rows.filter(closed_at__isnull=True).count()
    simulated = [(*place, rule) for rule in RULES for place in np.argwhere(told.opened[rule]).tolist()]
    assert {rule for *_, rule in real} >= {"over", "soon", "hot_station"}
    assert real == sorted(simulated)
    assert still == told.open[:, -1].sum()


def test_farms_are_farms_of_the_model(monkeypatch: pytest.MonkeyPatch):
    """The memory stands for the database: no query is made."""
    monkeypatch.setattr(Farm.objects, "filter", None)
    told = check_season(simulate_group(np.random.default_rng(2), "level", 8), USUAL)
    assert told.mean.shape == (8, 26) and np.isfinite(told.mean).mean() > 0.95
