"""Seasons of simulated regions through gate and audit: no farm's week may come out bounded.

The rule is the project's own: an end of what can be worked out, other than 0, is nearer than 15 % or than five counts.
"""

from collections import Counter

import numpy as np
import pytest

from monitoring.analysis.disclosure import release, release_normal
from monitoring.analysis.simulated_regions import RegionSeason, simulate_season
from tests.monitoring.analysis.published import normal_week_of, week_of

SIZES, METHODS = (10, 14, 30, 100), ("card", "trap", "leg")


def audited(number):
    """What came of one season: cells by disclosure, farm-weeks audited and bounded. Each second has an adviser who sees
    four farms in ten; regions differ in size, method, how uneven and how busy they are.
    """
    rng = np.random.default_rng([26, number])
    region = RegionSeason(unlike=rng.choice([0.4, 0.6, 0.8]), busy=rng.choice([0.5, 1.0, 2.0]))
    season = simulate_season(rng, region, SIZES[number % 4], METHODS[number % 3])
    sees = rng.random(season.means.shape[0]) < (0.4 if number % 2 else 0.0)
    figures: Counter[str] = Counter()
    for week in range(season.means.shape[1]):
        who = season.contributors(week)
        values, ratios = season.means[who, week], season.ratios[who, week]
        cell = release(values, season.level, at_least=season.at_least, watchers=[sees[who]])
        figures[cell.disclosure] += 1
        figures["farm-weeks"] += values.size * (cell.disclosure != "nothing")
        broken = week_of(cell, values, season.level, at_least=season.at_least, watchers=[sees[who]]).breaches()
        if cell.disclosure == "numbers":
            has = ~np.isnan(ratios)
            normal = release_normal(ratios, watchers=[sees[who]])
            figures["with normals"] += normal.ratio is not None
            broken += normal_week_of(normal, ratios[has], [sees[who][has]]).breaches()
        figures["bounded"] += len({breach.target for breach in broken})
    return figures


@pytest.mark.parametrize("seasons", [5, pytest.param(200, marks=pytest.mark.full)])
def test_no_farms_week_is_bounded_in_seasons_of_26_weeks(seasons, record_property):
    figures = sum((audited(number) for number in range(seasons)), Counter())
    assert figures["farm-weeks"] > 500 * seasons
    for what in ("farm-weeks", "numbers", "word", "nothing", "with normals"):
        record_property(f"asked of simulated regions, {seasons} seasons: {what}", figures[what])
    assert figures["bounded"] == 0
