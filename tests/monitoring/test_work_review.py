"""A season's works, kind by kind: which are taken together, and which are not."""

from datetime import timedelta

import numpy as np
import pytest

from monitoring.analysis.pooled_effect import pooled_effect
from monitoring.selectors.work_effects import effects_of_works
from monitoring.selectors.work_review import review_of_works
from tests.alerts.scene import count_week, monday
from tests.cast import acting, as_role, make_facility, make_stations
from tests.monitoring.test_work_effects import work

pytestmark = pytest.mark.django_db
FIRST, LAST = monday(0), monday(24)


def review(farm, on=LAST):
    with as_role("worker"):
        return review_of_works(farm, FIRST, LAST, on=on, reports="default")


@pytest.fixture
def twice(northfield, cards, calf_barn):
    """Two clean-outs of the calf barn eleven weeks apart, each of which halves it; two barns stand beside it."""
    rng = np.random.default_rng(8)
    beside = [
        make_stations(make_facility(northfield, name, "heifer_barn", number), "card", range(first, first + 5))
        for number, (name, first) in enumerate((("Heifer barn", 6), ("Old barn", 11)), start=4)
    ]
    for week in range(22):
        weather = float(np.exp(rng.normal(0, 0.2)))
        left = 0.5 if 5 <= week < 10 or week >= 16 else 1.0
        for stations, share in ((cards, left), *((each, 1.0) for each in beside)):
            count_week(stations, monday(week), [round(weather * share * n) for n in rng.normal(80, 6, 5)])
    return northfield, [work(northfield, monday(week), calf_barn) for week in (5, 16)]


def test_two_of_a_kind_are_taken_together(twice, calf_barn):
    farm, done = twice
    work(farm, monday(20), calf_barn, "fans")
    found = review(farm)
    assert [(kind.kind, len(kind.deeds), kind.told) for kind in found.kinds] == [("clean_out", 2, 2), ("fans", 1, 0)]
    cleaned, fans = found.kinds
    with as_role("worker"):
        effects = list(effects_of_works(done, [farm], LAST, reports="default").values())
    ends = np.log([[each.low, each.high] for each in effects])
    expected = pooled_effect(np.log([each.ratio for each in effects]), (ends[:, 1] - ends[:, 0]) / (2 * 1.959964))
    assert cleaned.pooled == expected and cleaned.method == "card"
    assert cleaned.ratio == pytest.approx(0.5, abs=0.05)
    assert cleaned.low < cleaned.ratio < cleaned.high
    assert cleaned.change == round(100 * (cleaned.ratio - 1), 1)
    assert (fans.pooled, fans.ratio, fans.change_low) == (None, None, None)


def test_one_alone_is_no_figure_for_the_kind(twice):
    farm, _done = twice
    found = review(farm, monday(12))
    (cleaned,) = found.kinds
    assert (cleaned.told, len(cleaned.deeds), cleaned.pooled) == (1, 2, None)


def test_what_can_not_be_told_apart_is_in_no_figure(twice, calf_barn):
    farm, _done = twice
    work(farm, monday(16) + timedelta(days=3), calf_barn, "bedding")
    kinds = {kind.kind: kind for kind in review(farm).kinds}
    assert (kinds["clean_out"].told, kinds["clean_out"].pooled) == (1, None)
    assert kinds["bedding"].deeds[0].effect.reason == "together"


def test_what_was_done_outside_of_the_season_is_not_in_it(twice, calf_barn):
    farm, _done = twice
    work(farm, FIRST - timedelta(days=1), calf_barn, "screens")
    assert [kind.kind for kind in review(farm).kinds] == ["clean_out"]


def test_carla_learns_nothing(twice, carla):
    with acting(carla):
        assert review_of_works(twice[0], FIRST, LAST, on=LAST).kinds == ()
