"""A farm's own counts on the way to the chart of its weeks: read as whoever asks, and as nobody else."""

from datetime import date, timedelta

import numpy as np
import pytest

from alerts.models import BorrowedFigures
from alerts.selectors.own_past import SHOWN, own_past_of
from farms.clock import quarter_of
from farms.models import Farm, Group, User
from monitoring.analysis.own_past import own_past
from monitoring.analysis.week_scores import score_newest, windows_from
from monitoring.models import Station
from tests.alerts.scene import correct, count_week, monday
from tests.cast import NOW, acting, as_factory

pytestmark = pytest.mark.django_db
LEVEL = (40, 47, 36, 42, 39, 44, 41, 45)


def count(cards: list[Station], weeks: list, *, first: int = 0) -> None:
    """The same count on every card in each of these weeks; None = nobody went."""
    for number, specks in enumerate(weeks, start=first):
        if specks is not None:
            count_week(cards, monday(number), [specks] * len(cards))


def past(farm: Farm, who: User, week: date, method: str = "card"):
    with acting(who):
        return {one.method: one for one in own_past_of(farm, week)}[method]


def test_weeks_are_those_of_the_analysis(northfield: Farm, cards: list[Station], anna: User):
    """The same counts as plain arrays, seven days a week, give the same line and limits."""
    count(cards, [*LEVEL, 60, 80, 110])
    found = past(northfield, anna, monday(10))
    counts = np.repeat(np.array([*LEVEL, 60, 80, 110], float)[None, None, :], len(cards), axis=1)
    plain = own_past(score_newest(windows_from(counts, np.full(counts.shape, 7.0), np.arange(11) * 7.0, 1.5)), 11)
    assert [week.week for week in found.weeks] == [monday(number) for number in range(11)]
    assert [week.reason for week in found.weeks] == plain.reason[0].tolist()
    assert [week.word for week in found.weeks] == plain.word[0].tolist()
    told = [(week.level, week.low, week.high) for week in found.weeks[6:]]
    expected = np.exp(np.column_stack([plain.smoothed[0], plain.low[0], plain.high[0]])[6:])
    np.testing.assert_allclose(told, expected, rtol=1e-6)
    assert found.weeks[-1].word == "above"
    assert not found.lent


def test_a_week_nobody_went_is_a_gap(northfield: Farm, cards: list[Station], anna: User):
    count(cards, [*LEVEL, None, 41])
    found = past(northfield, anna, monday(9))
    assert (found.weeks[8].reason, found.weeks[8].level) == ("not_counted", None)
    assert found.weeks[9].word == "within"


def test_a_correction_counts_and_the_corrected_does_not(northfield: Farm, cards: list[Station], anna: User):
    count(cards, list(LEVEL[:7]))
    for reading in count_week(cards, monday(7), [900] * 5):
        correct(reading, 41, received=reading.received_at + timedelta(hours=1))
    assert past(northfield, anna, monday(7)).weeks[-1].word == "within"


def test_flies_on_legs_are_told_an_animal(northfield: Farm, leg_station: Station, anna: User):
    for number in range(8):
        count_week([leg_station], monday(number), [[3, 5, 4, 2, 6, 4, 3, 5, 4, 4]])
    week = past(northfield, anna, monday(7), "leg").weeks[-1]
    assert week.level == pytest.approx(4, rel=0.05)


def test_a_low_count_of_sprayed_animals_is_not_called_low(northfield: Farm, leg_station: Station, anna: User):
    for number in range(8):
        count_week([leg_station], monday(number), [[7, 5, 6, 8, 6, 7, 5, 9, 6, 5 + number % 3]])
    count_week([leg_station], monday(8), [[0, 0, 1, 0, 0, 0, 0, 0, 0, 0]], sprayed=True)
    week = past(northfield, anna, monday(8), "leg").weeks[-1]
    assert (week.word, week.reason, week.weeks_outside) == ("", "sprayed_or_cold", 0)
    assert week.level is not None


def test_a_second_year_expects_the_time_of_the_year(northfield: Farm, cards: list[Station], anna: User):
    """A summer that rises and falls, and a year later the same: like the time of the year."""
    with as_factory():
        Station.objects.filter(farm=northfield).update(since=date(2025, 1, 6))
    summer = [20, 24, 30, 37, 48, 60, 75, 96, 120, 150, 145, 120, 98, 80, 60, 50]
    noise = [2, -1, 1, -2, 3, -2, 1, 2, -3, 2, -1, 3, -2, 1, -1, 2]
    count(cards, summer, first=-52)
    count(cards, [each + more for each, more in zip(summer, noise, strict=True)])
    found = past(northfield, anna, monday(15))
    assert {week.basis for week in found.weeks if week.week >= monday(6)} == {"season"}
    assert {week.word for week in found.weeks if week.week >= monday(8)} == {"within"}


def test_what_the_group_lends_is_used(group: Group, northfield: Farm, cards: list[Station], anna: User):
    with as_factory():
        BorrowedFigures.objects.create(
            group=group, method="card", quarter=quarter_of(monday(7)), farms=120, holdings=100, shock=0.3,
            stays=0.2, counting=1.0, growth=0.1, degrees=8.0, weight_k=1.4, fitted_at=NOW, code_version="test",
        )  # fmt: skip
    count(cards, list(LEVEL))
    assert past(northfield, anna, monday(7)).lent


def test_at_most_thirty_weeks_are_shown(northfield: Farm, cards: list[Station], anna: User):
    count(cards, [40 + number % 5 for number in range(40)])
    found = past(northfield, anna, monday(39))
    assert len(found.weeks) == SHOWN
    assert {week.word for week in found.weeks} == {"within"}


def test_a_stranger_reads_nothing(northfield: Farm, cards: list[Station], carla: User):
    """Row security, not the door, which a selector does not ask."""
    count(cards, list(LEVEL))
    with acting(carla):
        assert own_past_of(northfield, monday(7)) == []
